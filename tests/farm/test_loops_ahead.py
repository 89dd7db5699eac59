"""The loops of a frame are compiled beside the real worker, once, and by nobody else again."""

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from farm.conftest import alive, descendants, wait_until
from support.service import PYTHONPATH, quick_settings, running_service

pytestmark = pytest.mark.farm

BEGUN = "are compiled beside the work, once for this machine"
ENDED = "the loops of a frame are compiled, after"

LOADED = """
from glimsum_workers.compile_ahead import compile_everything
from glimsum_workers.engine.compiled.kernel import _MADE
assert compile_everything()
assert sum(len(each.signatures) for each in _MADE) > 15
print(sum(sum(each.stats.cache_misses.values()) for each in _MADE))
"""


@pytest.fixture
def empty(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "compiled"
    folder.mkdir()
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(folder))
    return folder


def compiling(processes: set[int]) -> set[int]:
    """Return those that compile ahead."""
    found = set()
    for each in processes:
        try:
            words = Path(f"/proc/{each}/cmdline").read_bytes().split(b"\0")
        except OSError:
            continue
        if b"glimsum_workers.compile_ahead" in words:
            found.add(each)
    return found


def ours() -> set[int]:
    return compiling(descendants(os.getpid()))


def test_it_is_done_once_and_the_next_process_finds_all(tmp_path: Path, empty: Path) -> None:
    log = tmp_path / "state" / "logs" / "worker.log"
    with running_service(quick_settings(tmp_path)):
        wait_until(lambda: ENDED in log.read_text(), 400, "all loops are compiled")
    loaded = subprocess.run(
        [sys.executable, "-c", LOADED],
        env=dict(os.environ) | {"PYTHONPATH": PYTHONPATH},
        capture_output=True,
        check=True,
        text=True,
    )
    with running_service(quick_settings(tmp_path)):
        assert ours() == set()

    assert loaded.stdout == "0\n"
    assert log.read_text().count(BEGUN) == 1


@pytest.mark.usefixtures("empty")
def test_it_is_below_the_slots_and_ends_with_the_service(tmp_path: Path) -> None:
    with running_service(quick_settings(tmp_path)) as service:
        wait_until(lambda: bool(ours()), 10, "it compiles")
        [process] = ours()
        worker = service.processes()["worker"]
        assert worker is not None
        wait_until(lambda: os.getpriority(os.PRIO_PROCESS, process) == 5, 10, "it is low")
        assert os.getpriority(os.PRIO_PROCESS, worker) == 0

    assert alive({process}) == set()


@pytest.mark.usefixtures("empty")
def test_it_ends_with_a_worker_that_is_killed(tmp_path: Path) -> None:
    with running_service(quick_settings(tmp_path)) as service:
        wait_until(lambda: bool(ours()), 10, "it compiles")
        [process] = ours()
        worker = service.processes()["worker"]
        assert worker is not None

        os.kill(worker, signal.SIGKILL)

        wait_until(lambda: alive({process}) == set(), 5, "it has ended")
