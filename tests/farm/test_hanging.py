"""Frames that hang: in one call of C, or deaf to a cancel. The slot is ended, the night goes on."""

import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import pytest

from farm.conftest import Floor, service_floor, wait_until
from glimsum_jobs.ledger import Cause, Control, RunState

pytestmark = pytest.mark.farm

LIMIT_S = 1.5


@pytest.mark.parametrize("holding", [True, False], ids=["no thread runs", "beats go on"])
def test_a_frame_that_hangs_in_c_is_set_aside_after_exactly_three_tries(
    tmp_path: Path, tell: Callable[[str], None], holding: bool
) -> None:
    with service_floor(tmp_path, frame_limit_s=LIMIT_S) as floor:
        floor.submit("hang/v001", frames=8, seconds=0.1, hang={"1003": holding})
        begun = time.monotonic()

        record = floor.wait_for_end("hang/v001", 90)

        assert record.state is RunState.DONE_WITH_REMARKS
        others = {str(1001 + n): 1 for n in range(8)} | {"1003": 3}
        assert floor.begun("hang/v001") == Counter(others)
        assert len(floor.finished("hang/v001")) == 7
        [aside] = [item for item in floor.frames("hang/v001") if item.failure]
        assert aside.failure is not None
        assert (aside.item, aside.failure.cause) == ("1003", Cause.PROCESS_LOST)
        assert aside.failure.message == "it took longer than 1.5 s; its process was ended"
    words = "no thread running" if holding else "beats going on"
    tell(f"hung in C, {words}: 3 tries, {time.monotonic() - begun:.0f} s, 7 others once each")


def cancelled(floor: Floor, run: str) -> bool:
    return floor.record(run).ended is not None


def test_a_cancel_is_soft_then_hard(tmp_path: Path, tell: Callable[[str], None]) -> None:
    with service_floor(tmp_path) as floor:
        grace_s = floor.settings.grace_s
        took = {}
        for run, more in (("soft/v001", {}), ("hard/v001", {"deaf": True})):
            floor.submit(run, frames=4, seconds=60, **more)
            wait_until(lambda run=run: len(floor.begun(run)) == 2, 20, "both slots work")  # type: ignore[misc]  # bound now
            floor.link.ledger.control(run, Control.CANCEL)
            took[run] = wait_until(lambda run=run: cancelled(floor, run), 20, "it ended")  # type: ignore[misc]  # bound now
            assert floor.record(run).state is RunState.CANCELLED
            assert [item.failure for item in floor.frames(run) if item.failure] == []

        assert took["soft/v001"] < grace_s <= took["hard/v001"] + 0.5
        floor.submit("next/v001", frames=4, seconds=0.1)
        assert floor.wait_for_end("next/v001").state is RunState.DONE
    soft_s, hard_s = took["soft/v001"], took["hard/v001"]
    tell(f"cancel heard after {soft_s:.1f} s; a deaf frame ended after {hard_s:.1f} s")
