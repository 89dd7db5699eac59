"""A hundred thousand frames in one run: opened at once, counted right at every look."""

import time
from collections.abc import Callable
from pathlib import Path

import pytest

from farm.conftest import service_floor, wait_until
from farm.real_floor import job, make_plates, real_floor
from glimsum_jobs.ledger import Control, Counts, RunState, Stage

pytestmark = pytest.mark.farm

FRAMES = 100_000
ENOUGH = 5_000
RUN = "long/v001"


def test_a_hundred_thousand_frames_are_taken_at_once_and_counted_right(
    tmp_path: Path, tell: Callable[[str], None]
) -> None:
    with service_floor(tmp_path, ticket_s=30.0) as floor:
        begun = time.monotonic()
        floor.submit(RUN, frames=FRAMES, seconds=0.0)
        submitted_s = time.monotonic() - begun
        wait_until(lambda: floor.record(RUN).stage is Stage.COMBINE, 30, "frames wait")
        looks: list[Counts] = []

        while not looks or looks[-1].done < ENOUGH:
            assert time.monotonic() - begun < 240
            looks.append(floor.record(RUN).counts[Stage.COMBINE])
            time.sleep(0.05)
        took_s = time.monotonic() - begun
        floor.link.ledger.control(RUN, Control.PAUSE)
        wait_until(lambda: floor.record(RUN).counts[Stage.COMBINE].working == 0, 20, "it rests")
        counts = floor.record(RUN).counts[Stage.COMBINE]

        assert submitted_s < 1
        assert {each.total for each in looks} == {FRAMES}
        assert [each.done for each in looks] == sorted(each.done for each in looks)
        assert all(each.working <= 2 for each in looks)
        assert all(each.set_aside == 0 for each in looks)
        assert len(floor.finished(RUN)) == counts.done
        assert set(floor.begun(RUN).values()) == {1}
        floor.link.ledger.control(RUN, Control.CANCEL)
        wait_until(lambda: floor.record(RUN).ended is not None, 20, "it is cancelled")
        assert floor.record(RUN).state is RunState.CANCELLED
    tell(
        f"{FRAMES} frames submitted in {submitted_s:.2f} s; {counts.done} finished in "
        f"{took_s:.0f} s, counts right at {len(looks)} looks"
    )


def test_a_job_of_a_hundred_thousand_frames_is_answered_within_a_second(
    tmp_path: Path, tell: Callable[[str], None]
) -> None:
    roots = {"plates": make_plates(tmp_path / "plates", 1), "out": tmp_path / "out"}
    with real_floor(tmp_path, roots) as floor:
        floor.client.roots()  # the first answer of a program loads it
        begun = time.monotonic()
        run = floor.submit(job(FRAMES))
        answered_s = time.monotonic() - begun

        assert answered_s < 1
        floor.client.control(run, Control.CANCEL)
        assert floor.wait_for_end(run).state is RunState.CANCELLED
    tell(f"POST of a job of {FRAMES} frames answered 201 in {answered_s:.2f} s")
