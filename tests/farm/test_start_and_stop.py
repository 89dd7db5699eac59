"""The service on one machine: it starts once, stops in time, and leaves no process behind."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from farm.conftest import API, WORKER, alive, descendants, service_floor, wait_until
from farm.work_for_tests import FOLDER
from glimsum_jobs.errors import StoreError
from glimsum_jobs.ledger import Counts, RunState, Stage
from glimsum_services.embedded import EmbeddedService
from glimsum_services.own_server import OwnServer
from support.server import server_program
from support.service import PYTHONPATH, quick_settings

pytestmark = pytest.mark.farm

SUPERVISOR = f"""
import os, sys
from glimsum_services.embedded import EmbeddedService
from glimsum_services.settings import load_settings
EmbeddedService(load_settings(os.environ), api={API!r}, worker={WORKER!r}).run()
"""


def test_stop_is_quick_leaves_no_process_and_the_next_start_goes_on(tmp_path: Path) -> None:
    with service_floor(tmp_path) as floor:
        floor.submit("night/v001", frames=12, seconds=0.4)
        wait_until(lambda: len(floor.finished("night/v001")) >= 4, 20, "some frames are done")
        processes = descendants(os.getpid())
        assert len(processes) >= 5  # server, API, worker, two slots
        done = floor.finished("night/v001")
        begun = time.monotonic()
    stopped_s = time.monotonic() - begun

    assert stopped_s < 5
    assert alive(processes) == set()
    assert list((tmp_path / "state" / "ledger").glob("socket")) == []

    with service_floor(tmp_path) as floor:
        assert floor.wait_for_end("night/v001").state is RunState.DONE
        assert {floor.begun("night/v001")[frame] for frame in done} == {1}
        assert len(floor.finished("night/v001")) == 12


def test_stop_ends_a_frame_that_hears_nothing_and_counts_no_try(tmp_path: Path) -> None:
    with service_floor(tmp_path) as floor:
        floor.submit("deaf/v001", frames=1, seconds=60, deaf=True)
        wait_until(lambda: len(floor.working("deaf/v001")) == 1, 10, "it works")
        processes = descendants(os.getpid())
        begun = time.monotonic()
    assert time.monotonic() - begun < 5
    assert alive(processes) == set()

    with service_floor(tmp_path) as floor:
        wait_until(lambda: len(floor.working("deaf/v001")) == 1, 10, "it works again")
        assert floor.record("deaf/v001").counts[Stage.COMBINE] == Counts(working=1)
        assert floor.frames("deaf/v001")[0].failure is None


@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGINT, signal.SIGTERM])
def test_no_process_outlives_the_supervisor(
    tmp_path: Path, tell: Callable[[str], None], number: signal.Signals
) -> None:
    server_program()
    settings = quick_settings(tmp_path)
    environment = dict(os.environ) | settings.environment()
    environment |= {"PYTHONPATH": PYTHONPATH, FOLDER: str(tmp_path)}
    with subprocess.Popen([sys.executable, "-c", SUPERVISOR], env=environment) as supervisor:
        wait_until(
            lambda: len(descendants(supervisor.pid)) >= 5, 30, "server, API, worker, two slots"
        )
        processes = descendants(supervisor.pid)

        supervisor.send_signal(number)
        gone_s = wait_until(lambda: alive(processes) == set(), 8, "all processes are gone")
        supervisor.wait(5)

    assert gone_s < 5
    assert supervisor.returncode == (-9 if number is signal.SIGKILL else 0)
    tell(f"{number.name}: {len(processes)} processes gone after {gone_s:.1f} s, none left")


def test_a_second_service_in_the_same_folder_is_refused_with_the_owner(tmp_path: Path) -> None:
    owner = OwnServer(tmp_path / "state", 0)
    try:
        with pytest.raises(StoreError, match=rf"in use by another service.*process {os.getpid()}"):
            EmbeddedService(quick_settings(tmp_path)).start()
    finally:
        owner.close()


def test_a_worker_that_cannot_start_is_said_with_its_words(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    server_program()
    monkeypatch.setenv("PYTHONPATH", PYTHONPATH)
    before = descendants(os.getpid())
    broken = [sys.executable, "-c", "import sys; sys.exit('no root is named plates')"]

    with pytest.raises(StoreError, match=r"(?s)worker ended 3 times.*no root is named plates"):
        EmbeddedService(quick_settings(tmp_path), api=API, worker=broken).start()

    assert alive(descendants(os.getpid()) - before) == set()


def test_a_worker_that_lacks_a_module_is_told_as_an_installation_that_is_not_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    server_program()
    monkeypatch.setenv("PYTHONPATH", PYTHONPATH)
    broken = [sys.executable, "-c", "import glimsum_module_nobody_has"]

    with pytest.raises(StoreError) as told:
        EmbeddedService(quick_settings(tmp_path), api=API, worker=broken).start()

    error = told.value
    assert error.seen == "ModuleNotFoundError: No module named 'glimsum_module_nobody_has'"
    assert error.remedy.startswith("The installation is not whole: run the set-up command again")
    assert error.place.file is not None
    assert error.place.file.endswith("logs/worker.log")
    assert "socket" not in str(error)


def test_a_deep_state_folder_still_gets_a_socket(tmp_path: Path) -> None:
    deep = tmp_path / ("a" * 60) / ("b" * 60)
    deep.mkdir(parents=True)
    with service_floor(deep) as floor:
        floor.submit("deep/v001", frames=2, seconds=0.05)
        assert floor.wait_for_end("deep/v001").state is RunState.DONE
        assert len(floor.service.broker) < 200
