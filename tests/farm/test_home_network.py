"""`glimsum up --lan` and the one line it prints, on two machines with roots of their own."""

import json
import os
import re
import signal
import stat
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from farm.conftest import wait_until
from farm.two_machines import TwoMachines, two_machines
from glimsum_services.root_markers import MARKER
from support.server import server_program
from support.service import PYTHONPATH
from support.small_shots import exr_pass, grain, raw_small_shot, write_exr_pass

pytestmark = pytest.mark.farm

FRAMES = range(1001, 1025)


@dataclass
class Studio:
    """Two machines: files on the first, the same files at another place on the second."""

    machines: TwoMachines
    folder: Path
    up: "subprocess.Popen[str]"
    told: dict[str, Any]

    @property
    def far(self) -> Path:
        return self.folder / "far"

    def environment(self, home: Path) -> dict[str, str]:
        plain = {name: value for name, value in os.environ.items() if "GLIMSUM" not in name}
        home.mkdir(exist_ok=True)
        path = f"{self.folder / 'bin'}{os.pathsep}{plain['PATH']}"
        return plain | {"HOME": str(home), "PYTHONPATH": PYTHONPATH, "PATH": path}

    def type_there(self, line: str, **more: Any) -> "subprocess.Popen[str]":
        """Type a line on the second machine: the shell reads it, it is nobody's argument."""
        shell = self.machines.start(
            self.machines.second,
            ["sh"],
            self.environment(self.far / "home"),
            cwd=self.far,
            stdin=subprocess.PIPE,
            start_new_session=True,
            **more,
        )
        assert shell.stdin is not None
        shell.stdin.write(f"{line}\n")
        shell.stdin.close()
        return shell

    def ask_there(self, line: str) -> "subprocess.CompletedProcess[str]":
        with self.type_there(line, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
            assert process.stdout is not None
            assert process.stderr is not None
            said, errors = process.stdout.read(), process.stderr.read()
            process.wait(60)
        return subprocess.CompletedProcess(line, process.returncode, said, errors)


def glimsum_in(folder: Path) -> None:
    folder.mkdir()
    program = folder / "glimsum"
    words = "from glimsum_services.cli import main; main()"
    program.write_text(f'#!/bin/sh\nexec {sys.executable} -c "{words}" "$@"\n')
    program.chmod(0o755)


def stop(process: "subprocess.Popen[str]") -> None:
    """End a shell or a service and everything it started in its session."""
    for number, patience_s in ((signal.SIGTERM, 20), (signal.SIGKILL, 5)):
        with suppress(ProcessLookupError):
            os.killpg(process.pid, number)
        with suppress(subprocess.TimeoutExpired):
            process.wait(patience_s)
            wait_until(lambda: not session_of(process.pid), patience_s, "its session is empty")
            return


def session_of(leader: int) -> set[int]:
    """Return the processes of a session that still run."""
    found = set()
    for entry in Path("/proc").iterdir():
        if entry.name.isdecimal():
            with suppress(OSError):
                fields = (entry / "stat").read_text().rpartition(")")[2].split()
                if int(fields[3]) == leader and fields[0] != "Z":
                    found.add(int(entry.name))
    return found


@contextmanager
def same_disk(folder: Path, seen_at: Path) -> Iterator[None]:
    """Make a folder appear at another place too, as a mount of network storage does."""
    seen_at.mkdir(parents=True)
    subprocess.run(["mount", "--bind", str(folder), str(seen_at)], check=True)
    try:
        yield
    finally:
        subprocess.run(["umount", "-l", str(seen_at)], check=True)


@pytest.fixture
def studio(tmp_path: Path) -> Iterator[Studio]:
    server_program()
    for name in ("plates", "out", "far/empty"):
        (tmp_path / name).mkdir(parents=True)
    glimsum_in(tmp_path / "bin")
    write_exr_pass(tmp_path / "plates", "beauty", {frame: grain(frame) for frame in FRAMES})
    with (
        two_machines() as machines,
        same_disk(tmp_path / "plates", tmp_path / "far" / "plates"),
        same_disk(tmp_path / "out", tmp_path / "far" / "out"),
    ):
        made = Studio(machines, tmp_path, None, {})  # type: ignore[arg-type]  # started below
        words = ["glimsum", "up", "--lan", machines.address, "--port", "18470", "--slots", "1"]
        words += ["--root", f"plates={tmp_path / 'plates'}", "--root", f"out={tmp_path / 'out'}"]
        words += ["--state", str(tmp_path / "state"), "--json"]
        environment = made.environment(tmp_path / "home") | {"GLIMSUM_LAN_PORT": "18473"}
        made.up = machines.start(
            machines.first, words, environment, stdout=subprocess.PIPE, start_new_session=True
        )
        try:
            assert made.up.stdout is not None
            made.told = json.loads(made.up.stdout.readline())
            yield made
        finally:
            stop(made.up)
            made.up.stdout.close()  # type: ignore[union-attr]  # it is a pipe


def test_the_one_line_joins_and_a_shot_is_submitted_from_the_other_machine(
    studio: Studio,
) -> None:
    line_file = Path(studio.told["join_line_file"])
    line = line_file.read_text().strip()
    password = (studio.folder / "state" / "ledger" / "lan_password").read_text()
    assert stat.S_IMODE(line_file.stat().st_mode) == 0o600
    assert password in line
    assert password not in json.dumps(studio.told)
    page = f"http://{studio.machines.address}:18470"
    assert studio.told["page"] == page

    # FOLDER is what the person fills in; it is another path there.
    line = line.replace("out=FOLDER", f"out={studio.far / 'out'}")
    line = line.replace("plates=FOLDER", f"plates={studio.far / 'plates'}")
    worker = studio.type_there(f"{line} --slots 1", stdout=subprocess.PIPE)
    try:
        token = ["glimsum", "token", "make", "there", "--json", "--state"]
        token += [str(studio.folder / "state"), "--scope", "read", "--scope", "submit"]
        here = studio.environment(studio.folder / "home")
        made = json.loads(subprocess.run(token, env=here, capture_output=True, check=True).stdout)
        (studio.far / "token").write_text(made["token"])
        (studio.far / "small.json").write_text(
            json.dumps(
                raw_small_shot(
                    frames={"first": 1001, "last": 1024}, passes={"beauty": exr_pass("beauty")}
                )
            )
        )
        submit = f"glimsum submit small.json --wait --json --service {page}"
        refused = studio.ask_there(submit)
        assert (refused.returncode, "this service asks for a token" in refused.stdout) == (1, True)
        wait_until(lambda: machines_of(studio, page) == 2, 30, "both machines are there")
        done = studio.ask_there(f"GLIMSUM_TOKEN_FILE=token {submit}")
        assert done.returncode == 0, done.stdout + done.stderr
        masters = list((studio.folder / "out" / "small" / "v001" / "master").iterdir())
        assert len(masters) == len(FRAMES)

        seen = processes_words(worker.pid) + processes_words(studio.up.pid)
        assert "glimsum" in seen
        assert password not in seen
        logs = (studio.folder / "state" / "logs").glob("*.log")
        said = "".join(each.read_text() for each in logs)
        assert password not in said
        assert made["token"].partition(".")[2] not in said
    finally:
        stop(worker)
        worker.stdout.close()  # type: ignore[union-attr]  # it is a pipe


def machines_of(studio: Studio, page: str) -> int:
    token = (studio.far / "token").read_text()
    headers = {"Authorization": f"Bearer {token}"}
    (studio.far / "ask.py").write_text(
        "import httpx\n"
        f"answer = httpx.get('{page}/workers', trust_env=False, headers={headers})\n"
        "print(len(answer.json()['workers']))\n"
    )
    return int(studio.ask_there(f"{sys.executable} ask.py").stdout or 0)


def processes_words(process: int) -> str:
    """Return the arguments of a process and of all below it: others on the machine see them."""
    from farm.conftest import descendants

    found = []
    for each in {process, *descendants(process)}:
        try:
            found.append(Path(f"/proc/{each}/cmdline").read_text().replace("\0", " "))
        except OSError:
            continue
    return "\n".join(found)


def test_an_empty_mount_point_is_told_before_anything_is_made(studio: Studio) -> None:
    line = Path(studio.told["join_line_file"]).read_text().strip()
    line = line.replace("out=FOLDER", f"out={studio.far / 'out'}")
    line = line.replace("plates=FOLDER", f"plates={studio.far / 'empty'}")
    refused = studio.ask_there(line)
    assert refused.returncode == 4
    assert "the root plates is not the folder it is elsewhere" in refused.stderr
    assert f"no file {MARKER}: not mounted?" in refused.stderr
    assert "Traceback" not in refused.stderr
    assert list((studio.far / "empty").iterdir()) == []


def test_a_settings_file_of_its_own_says_all_a_worker_needs(studio: Studio) -> None:
    address = Path(studio.told["join_line_file"]).read_text()
    address = re.findall(r"redis://[^ ']+", address)[0]
    roots = f'plates = "{studio.far / "plates"}"\nout = "{studio.far / "out"}"\n'
    file = studio.far / "own.toml"
    file.write_text(f'broker = "{address}"\nslots = 1\n[roots]\n{roots}')
    worker = studio.type_there(f"glimsum worker --settings {file} --json", stdout=subprocess.PIPE)
    try:
        assert worker.stdout is not None
        told = json.loads(worker.stdout.readline())
        assert told["slots"] == 1
        assert "@" not in told["broker"]
        assert worker.poll() is None
    finally:
        stop(worker)
        worker.stdout.close()  # type: ignore[union-attr]  # it is a pipe


def test_nobody_gets_in_from_the_other_machine_without_token_or_password(studio: Studio) -> None:
    page = studio.told["page"]
    ask = (
        "import httpx, redis\n"
        f"print(httpx.get('{page}/shots', trust_env=False).status_code)\n"
        f"print(httpx.get('{page}/healthz', trust_env=False).status_code)\n"
        "try:\n"
        f"    redis.Redis('{studio.machines.address}', 18473).ping()\n"
        "except redis.AuthenticationError as error:\n"
        "    print('refused')\n"
    )
    (studio.far / "ask.py").write_text(ask)
    said = studio.ask_there(f"{sys.executable} ask.py").stdout.split()
    assert said == ["401", "200", "refused"]


def test_an_address_of_another_machine_is_refused_in_words(tmp_path: Path) -> None:
    server_program()
    glimsum_in(tmp_path / "bin")
    words = [str(tmp_path / "bin" / "glimsum"), "up", "--lan", "203.0.113.77", "--port", "0"]
    environment = {name: value for name, value in os.environ.items() if "GLIMSUM" not in name}
    asked = subprocess.run(
        [*words, "--state", str(tmp_path / "state")],
        env=environment | {"PYTHONPATH": PYTHONPATH},
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )
    # RFC 5737: 203.0.113.0/24 is for documentation, no machine has it.
    assert asked.returncode == 4
    assert "203.0.113.77" in asked.stderr
    assert "Traceback" not in asked.stderr
