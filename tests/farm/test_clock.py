"""Clocks that are set and machines that sleep: no try is counted, no frame is made twice."""

import mmap
import os
import shutil
import signal
import struct
import subprocess
import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from farm.conftest import WORKER, Floor, descendants, service_floor, wait_until
from farm.work_for_tests import FOLDER
from glimsum_jobs.ledger import RunState
from glimsum_services.store.keys import Keys
from support.service import PYTHONPATH

pytestmark = pytest.mark.farm

HOUR_S = 3600


class Clock:
    """The time of day of every process started after this."""

    def __init__(self, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        compiler = shutil.which("cc")
        if compiler is None:
            pytest.skip("a clock that can be set needs a C compiler")
        source, library = Path(__file__).with_name("clock_for_tests.c"), folder / "clock.so"
        subprocess.run([compiler, "-shared", "-fPIC", "-O1", "-o", library, source], check=True)
        file = folder / "clock"
        file.write_bytes(bytes(8))
        with file.open("r+b") as opened:
            self._page = mmap.mmap(opened.fileno(), 8)
        monkeypatch.setenv("GLIMSUM_TEST_CLOCK", str(file))
        monkeypatch.setenv("LD_PRELOAD", str(library))

    def set(self, offset_s: int) -> None:
        self._page[:] = struct.pack("=q", offset_s)


def hours_ahead(floor: Floor) -> int:
    """Return by how many hours the server's own clock is ahead of the machine's."""
    server: tuple[int, int] = floor.link.client.time()
    return round((server[0] - time.time()) / HOUR_S)


def test_a_clock_set_by_an_hour_either_way_counts_no_try(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, tell: Callable[[str], None]
) -> None:
    clock = Clock(tmp_path, monkeypatch)
    # A lease that a busy machine keeps too: the clock alone shall be at fault here.
    with service_floor(tmp_path, lease_s=10.0) as floor:
        floor.submit("step/v001", frames=16, seconds=1.0)
        seen = []
        for number, offset_s in enumerate((HOUR_S, 0, -HOUR_S, HOUR_S)):
            wait_until(
                lambda enough=3 * number + 2: len(floor.finished("step/v001")) >= enough,  # type: ignore[misc]  # bound now
                120,
                f"work goes on after {number} steps of the clock",
            )
            clock.set(offset_s)
            # Right after a command a server may still answer from the time of that one.
            wait_until(
                lambda hours=offset_s / HOUR_S: hours_ahead(floor) == hours,  # type: ignore[misc]  # bound now
                10,
                f"the server's own clock is set by {offset_s} s",
            )
            seen.append(hours_ahead(floor))
        record = floor.wait_for_end("step/v001", 120)

        assert seen == [1, 0, -1, 1]  # the server's own clock was set
        assert record.state is RunState.DONE
        assert set(floor.begun("step/v001").values()) == {1}
        assert [item.failure for item in floor.frames("step/v001") if item.failure] == []
        assert record.conflicts == 0
    tell("clock set by +1, -1, -1, +2 hours: 16 frames begun once each, 0 tries counted")


def test_a_machine_asleep_for_three_leases_counts_no_try(
    tmp_path: Path, tell: Callable[[str], None]
) -> None:
    with service_floor(tmp_path) as floor:
        floor.submit("sleep/v001", frames=6, seconds=2.0)
        wait_until(lambda: len(floor.begun("sleep/v001")) == 2, 20, "both slots work")
        server = floor.service.processes()["server"]
        asleep = sorted(descendants(os.getpid()) - {server})
        slept_s = 3 * floor.settings.lease_s

        for process in asleep:
            os.kill(process, signal.SIGSTOP)
        time.sleep(slept_s)
        parents = {floor.service.processes()[name] for name in ("api", "worker")}
        for process in sorted(asleep, key=lambda each: each not in parents):
            if process not in parents:
                time.sleep(0.5)  # the unlucky order: dispatchers look before any slot can beat
            os.kill(process, signal.SIGCONT)
        record = floor.wait_for_end("sleep/v001", 60)

        assert record.state is RunState.DONE
        assert set(floor.begun("sleep/v001").values()) == {1}
        assert [item.failure for item in floor.frames("sleep/v001") if item.failure] == []
    tell(f"API, dispatchers and slots asleep for {slept_s:g} s: 6 frames begun once each, 0 tries")


def test_two_dispatchers_at_once_make_no_frame_twice(
    tmp_path: Path, tell: Callable[[str], None]
) -> None:
    with service_floor(tmp_path) as floor:
        environment = dict(os.environ) | floor.settings.environment()
        environment |= {"GLIMSUM_BROKER": floor.service.broker, "PYTHONPATH": PYTHONPATH}
        environment |= {FOLDER: str(floor.folder)}
        environment |= {"GLIMSUM_STATE_FOLDER": str(tmp_path / "other")}
        over, leads = threading.Event(), set()

        def forget_the_lock() -> None:
            while not over.wait(0.005):
                leads.add(floor.link.client.get(Keys().lock))
                floor.link.client.delete(Keys().lock)

        thread = threading.Thread(target=forget_the_lock)
        with subprocess.Popen(WORKER, env=environment, stderr=subprocess.DEVNULL) as second:
            wait_until(lambda: len(floor.link.machines.heard_within(5)) == 2, 20, "two are there")
            thread.start()
            for run in ("a/v001", "b/v001"):
                floor.submit(run, frames=30, seconds=0.1)
            records = [floor.wait_for_end(run, 60) for run in ("a/v001", "b/v001")]
            over.set()
            thread.join()
            second.terminate()
            second.wait(10)

        assert len(leads - {None}) >= 2
        assert [record.state for record in records] == [RunState.DONE] * 2
        begun = floor.begun("a/v001") + floor.begun("b/v001")
        assert set(begun.values()) == {2}  # once in each run
    tell(f"{len(leads - {None})} dispatchers at once: 60 frames begun once each")
