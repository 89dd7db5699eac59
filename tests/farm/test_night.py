"""A bad night in short: slots, worker and server are killed all the time, and no frame is lost."""

import os
import random
import signal
import subprocess
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import pytest

from farm.conftest import Floor, descendants, service_floor, wait_until
from glimsum_jobs.ledger import RunState

pytestmark = pytest.mark.farm

FRAMES = 100
RUN = "night/v001"


def victims(floor: Floor, what: str) -> list[int]:
    """Return the processes that may be killed: the slots, or the worker or server itself."""
    known = floor.service.processes()
    if what == "slot":
        return sorted(descendants(known["worker"])) if known["worker"] else []
    process = known[what]
    return [process] if process else []


def test_random_kills_lose_no_frame_and_change_none(
    tmp_path: Path, tell: Callable[[str], None]
) -> None:
    chance = random.Random(20)  # noqa: S311  # which process dies is no secret
    killed: list[str] = []
    with service_floor(tmp_path) as floor:
        floor.submit(RUN, frames=FRAMES, seconds=0.25)
        for number, what in enumerate(["slot", "slot", "server", "slot", "worker"] * 2):
            # Work goes on between two kills, else the same frame is hit thrice: poison.
            wait_until(
                lambda enough=8 * number + 4: len(floor.finished(RUN)) >= enough,  # type: ignore[misc]  # bound now
                40,
                f"work goes on after {killed}",
            )
            time.sleep(chance.uniform(0, 0.3))
            os.kill(chance.choice(victims(floor, what)), signal.SIGKILL)
            killed.append(what)
        record = floor.wait_for_end(RUN, 60)

        assert record.state is RunState.DONE
        assert record.conflicts == 0
        assert floor.finished(RUN) == {str(1001 + frame) for frame in range(FRAMES)}
        again = sum(floor.begun(RUN).values()) - FRAMES
        assert 0 < again <= 2 * len(killed)  # two slots at most were hit by one kill
    tell(f"{len(killed)} kills: {FRAMES} frames, {again} begun again, 0 lost")


def test_a_full_disk_costs_no_frame(tmp_path: Path, tell: Callable[[str], None]) -> None:
    # Every write is synchronised, so the server ends when the disk is full; the reserve beside
    # it is freed, and it starts again.
    state = tmp_path / "state"
    state.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=24m", "tmpfs", str(state)]
    if subprocess.run(mount, capture_output=True, check=False).returncode:
        pytest.skip("a small disk can be made by root only")
    try:
        with service_floor(tmp_path, ballast_mib=4, reserve_mib=0) as floor:
            floor.submit(RUN, frames=30, seconds=0.15)
            wait_until(lambda: len(floor.finished(RUN)) > 4, 20, "some frames are done")
            fill_disk(state / "filling")
            record = floor.wait_for_end(RUN)

            assert not (state / "ledger" / "ballast").exists()
            assert record.state is RunState.DONE
            assert set(floor.begun(RUN).values()) == {1}
            tell("disk full under the ledger: ballast freed, 30 frames begun once each")
    finally:
        subprocess.run(["umount", "-l", str(state)], check=True)


def fill_disk(file: Path) -> None:
    descriptor = os.open(file, os.O_WRONLY | os.O_CREAT)
    with suppress(OSError):
        while True:
            os.write(descriptor, b"x" * 4096)
    os.close(descriptor)
