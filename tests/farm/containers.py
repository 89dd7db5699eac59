"""Builds the image, starts the containers, submits the demo to them, looks at what comes out.

    python tests/farm/containers.py [--folder DIR] [--keep]

Needs Linux, root, and Debian's buildah, podman, runc, debootstrap, netavark, aardvark-dns. No
registry is asked for the base: Debian with its Python is put together from this machine's own
package source. So it is not the same base as the official image of Python, but as near as can be.
"""

import argparse
import json
import os
import shutil
import stat
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Sequence
from pathlib import Path
from secrets import token_hex
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))  # run as a program

from farm.container_place import (  # found by the line above
    DOCKER,
    FRAMES,
    IMAGE,
    LAN_PORT,
    PAGE_PORT,
    PROJECT,
    USER,
    Failed,
    Place,
    build,
    get_tools,
    hold,
    make_base,
    say,
)


def put_ready(place: Place) -> str:
    """Lay out folders, secret and job; return the password."""
    for name in ("plates", "out"):
        shutil.rmtree(place.folder / name, ignore_errors=True)
        (place.folder / name).mkdir(mode=0o755)
    os.chown(place.folder / "out", USER, USER)
    demo = PROJECT / "services" / "glimsum_services" / "demo"
    shutil.copytree(demo / "passes", place.folder / "plates" / "passes")
    (place.folder / "plates" / ".glimsum_root").write_text(f"{token_hex(8)}\n")
    job = (demo / "harbour_010.yaml").read_text().replace("passes/", "plates:passes/")
    job = job.replace("output: harbour_010", "output: out:harbour_010")
    (place.folder / "harbour_010.yaml").write_text(job)
    password = token_hex(32)
    for name, server in (("broker_url", "broker:6379"), ("far_url", f"127.0.0.1:{LAN_PORT}")):
        file = place.folder / name
        file.unlink(missing_ok=True)
        file.touch(mode=0o600)
        file.write_text(f"redis://:{password}@{server}/0")
        os.chown(file, USER, USER)
    return password


def ask(address: str, token: str = "", data: bytes | None = None) -> tuple[int, Any]:
    """Make one request and return status and JSON."""
    headers = {"Content-Type": "application/yaml"} | (
        {"Authorization": f"Bearer {token}"} if token else {}
    )
    request = urllib.request.Request(f"http://127.0.0.1:{PAGE_PORT}{address}", data, headers)
    try:
        with urllib.request.urlopen(request, timeout=20) as answer:  # noqa: S310  # the same
            return answer.status, json.load(answer)
    except urllib.error.HTTPError as error:
        return error.code, json.load(error)
    except OSError as error:
        return 0, str(error)


def wait(what: str, met: Any, seconds: float) -> float:
    begun = time.monotonic()
    while not met():
        if time.monotonic() - begun > seconds:
            raise Failed(f"not within {seconds:g} s: {what}")
        time.sleep(0.5)
    return time.monotonic() - begun


def hold_closed(place: Place, password: str) -> None:
    """Hold each container against what compose.yaml promises."""
    for service in ("broker", "api", "worker"):
        lives = ["python", "-m", "glimsum_services.alive", service]
        wait(f"{service} lives", lambda s=service, w=lives: _lives(place, s, w), 60)
        status = place.inside(service, "cat", "/proc/1/status")
        facts = dict(line.split(":\t", 1) for line in status.splitlines() if ":\t" in line)
        hold(
            f"{service} runs as {USER}",
            right=facts["Uid"].split()[0] == str(USER),
            seen=facts["Uid"],
        )
        # capabilities(7): no bit set is no capability.
        hold(
            f"{service} has no capability",
            right=int(facts["CapEff"], 16) == 0,
            seen=facts["CapEff"],
        )
        hold(f"{service} can gain no privilege", right=facts["NoNewPrivs"] == "1")
        tried = place.run(
            "podman", "exec", f"gltest_{service}_1", "touch", "/opt/glimsum/x", check=False
        )
        hold(
            f"{service} can't write its root", right="Read-only" in tried.stderr, seen=tried.stderr
        )
    said = "".join(
        place.run("podman", "inspect", name).stdout
        + place.run("podman", "top", name, "args").stdout
        + place.run(
            "podman",
            "logs",
            name,
            stderr=subprocess.STDOUT,
            stdout=subprocess.PIPE,
            capture_output=False,
        ).stdout
        for name in place.containers()
    )
    hold("the password is in no argument, environment or log", right=password not in said)


def _lives(place: Place, service: str, words: Sequence[str]) -> bool:
    done = place.run("podman", "exec", f"gltest_{service}_1", *words, check=False)
    return done.returncode == 0


def make_token(place: Place) -> str:
    words = ["glimsum", "token", "make", "test", "--json"]
    words += ["--scope", "read", "--scope", "submit", "--scope", "control"]
    made: dict[str, str] = json.loads(place.inside("api", *words))
    return made["token"]


def add_spare(place: Place) -> None:
    """Type the one line of docker/README.md, with podman for docker."""
    text = (DOCKER / "README.md").read_text()
    line = next(each for each in text.splitlines() if each.startswith("docker run -d"))
    line = line.replace("docker run -d --name glimsum_spare", "podman run -d --name gltest_spare")
    line = line.replace("glimsum_spare:/state", "gltest_spare:/state")
    line = line.replace('"$(id -u):$(id -g)"', f"{USER}:{USER}").replace("glimsum:0.1", IMAGE)
    line = line.replace("$PWD/broker_url", str(place.folder / "far_url"))
    line = line.replace("podman run -d", "podman run -d --network host -e GLIMSUM_SLOTS=1")
    place.run("sh", "-c", line)


def make_demo(place: Place, token: str) -> None:
    data = (place.folder / "harbour_010.yaml").read_bytes()
    status, taken = ask("/shots", token, data)
    hold("the demo is taken", right=status == 201, seen=taken)
    here = "/shots/harbour_010/versions/1"
    seconds = wait("the demo is done", lambda: ask(here, token)[1]["ended"] is not None, 400)
    view = ask(here, token)[1]
    hold("it is done, without a frame set aside", right=view["state"] == "done", seen=view["state"])
    folder = place.folder / "out" / "harbour_010" / "v001"
    masters = sorted((folder / "master").glob("*.exr"))
    hold(f"{FRAMES} masters came out", right=len(masters) == FRAMES, seen=len(masters))
    hold("they are the user's", right={each.stat().st_uid for each in masters} == {USER})
    movies = [each for each in (folder / "viewing").iterdir() if each.suffix == ".mp4"]
    hold("a movie came out", right=len(movies) == 1, seen=movies)
    machines = {
        frame["worker"].partition("/")[0] for frame in ask(f"{here}/frames", token)[1]["frames"]
    }
    say(f"  made in {seconds:.0f} s by {len(machines)} machines")


def try_everything(place: Place) -> None:
    began = time.monotonic()
    get_tools(place)
    make_base(place)
    say(f"base: {time.monotonic() - began:.0f} s")
    began = time.monotonic()
    build(place)
    say(f"image: {time.monotonic() - began:.0f} s")
    password = put_ready(place)
    place.compose("up", "-d", "--no-build")
    wait("the API answers", lambda: ask("/healthz")[0] == 200, 60)
    hold("without a token nothing is shown", right=ask("/shots")[0] == 401)
    hold_closed(place, password)
    token = make_token(place)
    add_spare(place)
    wait("both workers are there", lambda: len(ask("/workers", token)[1]["workers"]) == 2, 60)
    hold(
        "work can go on (/readyz)",
        right=ask("/readyz", token)[0] == 200,
        seen=ask("/readyz", token),
    )
    make_demo(place, token)
    place.run("podman", "kill", "gltest_broker_1")
    place.run("podman", "start", "gltest_broker_1")
    wait("the ledger is back", lambda: ask("/shots", token)[0] == 200, 60)
    kept = ask("/shots/harbour_010", token)[1]["state"]
    hold("a killed ledger forgot nothing", right=kept == "done", seen=kept)
    began = time.monotonic()
    place.run("podman", "stop", "gltest_worker_1", "gltest_api_1", "gltest_spare")
    say(f"  stopped in {time.monotonic() - began:.1f} s")
    modes = stat.S_IMODE((place.folder / "broker_url").stat().st_mode)
    hold("the secret stayed private", right=modes == 0o600)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--folder", type=Path, default=Path("/var/tmp/glimsum_containers"))  # noqa: S108  # images outlive a restart there
    parser.add_argument("--keep", action="store_true", help="leave the containers running")
    words = parser.parse_args()
    place = Place(words.folder.resolve())
    began = time.monotonic()
    try:
        try_everything(place)
    except Failed as error:
        say(f"FAILED: {error}")
        for name in place.containers():
            logs = place.run("podman", "logs", "--tail", "15", name, check=False)
            say(f"--- {name}\n{logs.stdout[-2000:]}{logs.stderr[-2000:]}")
        return 1
    finally:
        if not words.keep and shutil.which("podman"):
            place.run("podman", "rm", "-f", "-t", "2", "gltest_spare", check=False)
            place.compose("down", "-v", check=False)
            place.run("podman", "volume", "rm", "gltest_spare", check=False)
    say(f"everything holds, {time.monotonic() - began:.0f} s")
    return 0


if __name__ == "__main__":
    sys.exit(main())
