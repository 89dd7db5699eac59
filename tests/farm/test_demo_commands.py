"""`glimsum up` and `glimsum worker` as a person starts and stops them."""

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx
import pytest

from farm.conftest import alive, descendants
from support.server import server_program

pytestmark = pytest.mark.farm

GLIMSUM = [sys.executable, "-c", "from glimsum_services.cli import main; main()"]


@contextmanager
def running(*words: str, folder: Path, **more: str) -> Iterator[tuple[Any, dict[str, Any]]]:
    """Start a command and yield it with the first line it prints."""
    environment = {name: value for name, value in os.environ.items() if "GLIMSUM" not in name}
    environment |= {"PYTHONPATH": os.pathsep.join(sys.path), **more}
    with subprocess.Popen(
        [*GLIMSUM, *words, "--json"],
        stdout=subprocess.PIPE,
        text=True,
        env=environment,
        cwd=folder,
    ) as process:
        try:
            assert process.stdout is not None
            yield process, json.loads(process.stdout.readline())
        finally:
            process.send_signal(signal.SIGINT)
            process.wait(30)


def test_up_serves_the_current_folder_a_worker_joins_and_ctrl_c_leaves_nothing(
    tmp_path: Path,
) -> None:
    server_program()  # skips where there is none
    state = tmp_path / "state"
    up = ("up", "--port", "0", "--slots", "1", "--state", str(state))
    with running(*up, folder=tmp_path) as (service, told):
        page, processes = told["page"], descendants(service.pid)
        assert told["next"] == f"glimsum submit JOB --wait --service {page}"
        assert told["roots"] == {"here": str(tmp_path)}
        assert httpx.get(f"{page}/roots", trust_env=False).json() == {"roots": told["roots"]}
        address = {"GLIMSUM_BROKER_FILE": str(state / "ledger" / "url")}
        other = ("worker", "--slots", "1", "--state", str(tmp_path / "other"))
        with running(*other, folder=tmp_path, **address) as (worker, joined):
            password = (state / "ledger" / "password").read_text()
            assert joined["slots"] == 1
            assert password not in json.dumps(joined)
            assert _machines(page, 2) == 2
            assert worker.poll() is None
        assert _machines(page, 1) == 1
        service.send_signal(signal.SIGINT)

        assert service.wait(15) == 0
        assert not alive(processes)


def test_ctrl_c_ends_the_demo_with_130_and_leaves_nothing_running(tmp_path: Path) -> None:
    server_program()  # skips where there is none
    demo = ("demo", "--port", "0", "--folder", str(tmp_path / "demo"))
    with running(*demo, folder=tmp_path) as (command, submitted):
        processes = descendants(command.pid)
        assert submitted["runs"][0]["new"] is True
        assert len(processes) >= 5  # server, API, worker and its two slots
        command.send_signal(signal.SIGINT)
        command.stdout.read()

        assert command.wait(20) == 130
        assert not alive(processes)


def test_a_second_service_in_the_same_folder_is_refused_with_its_owner(tmp_path: Path) -> None:
    server_program()  # skips where there is none
    up = ("up", "--port", "0", "--slots", "1", "--state", str(tmp_path / "state"))
    with running(*up, folder=tmp_path) as (service, _):
        again = subprocess.run(
            [*GLIMSUM, *up],
            capture_output=True,
            text=True,
            check=False,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
            cwd=tmp_path,
        )

    assert again.returncode == 4
    assert "the state folder is in use by another service" in again.stderr
    assert f"seen:     process {service.pid}" in again.stderr
    assert "Traceback" not in again.stderr


def _machines(page: str, wanted: int) -> int:
    """Return how many machines are there, as soon as they are as many as wanted."""
    deadline = time.monotonic() + 40
    while True:
        found = len(httpx.get(f"{page}/workers", trust_env=False).json()["workers"])
        if found == wanted or time.monotonic() > deadline:
            return found
        time.sleep(0.2)
