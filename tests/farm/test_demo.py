"""The demo as a person starts it: the whole service, real pictures, one worker process lost."""

import json
import os
import signal
import socket
import subprocess
import sys
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import av
import httpx
import pytest

from glimsum_services.child_environment import kept_kernels
from support.server import server_program

pytestmark = pytest.mark.farm

FRAMES = list(range(1001, 1009))
"""The shot's frames, as `glimsum_services/demo/passes/README.txt` states them: eight."""
LONGEST_S = 240.0


@dataclass
class Demo:
    """One run of the command."""

    port_asked: int
    folder: Path
    lines: list[dict[str, Any]] = field(default_factory=list)
    killed: list[int] = field(default_factory=list)
    exit_code: int | None = None
    errors: str = ""

    @property
    def page(self) -> str:
        return str(self.lines[0]["page"])

    @property
    def end(self) -> dict[str, Any]:
        return self.lines[-1]


@contextmanager
def busy_port() -> Iterator[int]:
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        listener.listen()
        yield listener.getsockname()[1]


def run_demo(folder: Path, *, kill_one: bool) -> Demo:
    """Run the command to its end; kill the process that holds a frame, once, if asked to.

    Loops are compiled once for all tests; the wheel's own test runs a demo that compiles them.
    """
    shared = kept_kernels(Path(tempfile.gettempdir()) / "glimsum_tests", os.environ)
    with busy_port() as port:
        demo = Demo(port, folder)
        command = [sys.executable, "-c", "from glimsum_services.cli import main; main()", "demo"]
        process = subprocess.Popen(
            [*command, "--json", "--folder", str(folder), "--port", str(port)],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env={
                **os.environ,
                **shared,
                "PYTHONPATH": os.pathsep.join(sys.path),
                "GLIMSUM_SLOTS": "1",
            },
        )
        assert process.stdout is not None
        assert process.stderr is not None
        too_long = threading.Timer(LONGEST_S, process.terminate)
        too_long.start()
        try:
            for line in process.stdout:
                demo.lines.append(json.loads(line))
                if kill_one and not demo.killed and demo.lines[-1].get("done", 0) >= 2:
                    demo.killed += kill_a_worker(demo.page)
            demo.errors = process.stderr.read()
            demo.exit_code = process.wait()
        finally:
            too_long.cancel()
            process.terminate()
            process.wait()
            process.stdout.close()
            process.stderr.close()
    return demo


def kill_a_worker(page: str) -> list[int]:
    """Kill -9 one process that holds a frame now, by the id the service tells."""
    frames = httpx.get(f"{page}shots/harbour_010/versions/1/frames", trust_env=False).json()
    working = [each["worker"] for each in frames["frames"] if each["state"] == "working"]
    for worker in working[:1]:
        process = int(worker.rpartition("/")[2])
        os.kill(process, signal.SIGKILL)
        return [process]
    return []


@pytest.fixture(scope="module")
def first(tmp_path_factory: pytest.TempPathFactory) -> Demo:
    server_program()  # skips where there is none
    return run_demo(tmp_path_factory.mktemp("demo"), kill_one=True)


@pytest.fixture(scope="module")
def second(first: Demo) -> Demo:
    return run_demo(first.folder, kill_one=False)


def test_every_frame_is_made_though_a_worker_process_was_killed(first: Demo) -> None:
    assert first.killed, first.lines
    assert (first.exit_code, first.end["state"]) == (0, "done"), first.errors
    assert (first.end["frames_done"], first.end["frames_set_aside"]) == (8, 0)
    names = [f"harbour_010_v001.{frame}.exr" for frame in FRAMES]
    assert names == sorted(each.name for each in Path(first.end["masters"]).iterdir())


def test_the_frames_were_made_by_several_processes(first: Demo) -> None:
    assert len(first.end["workers"]) >= 2
    finished = {int(worker.rpartition("/")[2]) for worker in first.end["workers"]}
    assert finished - set(first.killed)


def test_progress_and_time_left_were_told_on_the_way(first: Demo) -> None:
    left = [line["seconds_left"] for line in first.lines if line.get("seconds_left") is not None]
    assert left
    assert all(seconds >= 0 for seconds in left)
    counts = [line["done"] for line in first.lines if "done" in line]
    assert counts == sorted(counts)
    assert (counts[0], counts[-1]) == (0, 8)


def test_movie_and_contact_sheet_are_there(first: Demo) -> None:
    with av.open(str(first.end["movie"]), mode="r") as movie:
        assert len(list(movie.decode(video=0))) == len(FRAMES)
    assert Path(first.end["contact_sheet"]).stat().st_size > 10_000


def test_a_busy_port_is_no_obstacle(first: Demo) -> None:
    assert not first.page.endswith(f":{first.port_asked}/")


def test_the_page_is_gone_when_the_command_has_ended(first: Demo) -> None:
    with pytest.raises(httpx.ConnectError):
        httpx.get(first.page, trust_env=False)


def test_a_second_run_finds_the_version_that_was_made(first: Demo, second: Demo) -> None:
    assert (second.exit_code, second.end["state"]) == (0, "done"), second.errors
    assert [(run["run"], run["new"]) for run in second.lines[0]["runs"]] == [
        ("harbour_010/v001", False)
    ]
    assert second.end["workers"] == first.end["workers"]
    assert sorted(path.name for path in (first.folder / "harbour_010").glob("v*")) == ["v001"]
