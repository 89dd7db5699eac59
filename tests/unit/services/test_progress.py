"""Progress: shares, pace, and a time left that one slow frame does not move."""

import time
from typing import Any

import pytest

from glimsum_jobs.frame_ranges import FrameRange
from glimsum_jobs.ledger import SINGLE_ITEM, Control, Counts, RunRecord, RunState, Stage
from glimsum_services.progress import RECENT, progress_of, read_shown
from support.memory_ledger import MemoryLedger


def record(**changes: Any) -> RunRecord:
    counts = changes.pop("counts", Counts(waiting=60, working=4, done=35, set_aside=1))
    values: dict[str, Any] = {
        "run": "mole_040/v001",
        "state": RunState.COMBINING,
        "stage": Stage.COMBINE,
        "control": Control.RUN,
        "priority": 50,
        "revision": 1,
        "counts": {Stage.COMBINE: counts},
        "begun": 0.0,
        "ended": None,
    }
    return RunRecord.model_validate(values | changes)


def test_four_slots_at_two_seconds_make_two_frames_a_second() -> None:
    # Arithmetic: 4 slots / 2 s = 2 frames a second; 100 - 36 = 64 frames left take 32 s.
    progress = progress_of(record(), 100, [2.0, 2.1, 1.9])
    assert (progress.frames_a_minute, progress.seconds_left) == (120.0, 32.0)
    assert (progress.share, progress.frames_done, progress.frames_set_aside) == (0.36, 35, 1)


def test_one_slow_frame_does_not_move_the_time_left() -> None:
    steady = progress_of(record(), 100, [2.0] * 9)
    one_slow = progress_of(record(), 100, [2.0] * 8 + [900.0])
    assert one_slow == steady


@pytest.mark.parametrize(
    "changes",
    [
        {"control": Control.PAUSE, "state": RunState.PAUSED},
        {"stage": Stage.MEASURE, "state": RunState.MEASURING},
        {"ended": 5.0, "state": RunState.CANCELLED},
        {"counts": Counts(waiting=64, working=0, done=36)},
    ],
)
def test_the_time_left_is_unknown_while_nothing_moves(changes: dict[str, Any]) -> None:
    progress = progress_of(record(**changes), 100, [2.0])
    assert (progress.frames_a_minute, progress.seconds_left) == (None, None)


def test_the_time_left_is_unknown_before_the_first_frame() -> None:
    assert progress_of(record(), 100, []).seconds_left is None


def test_all_is_done_only_when_the_run_is() -> None:
    counts = Counts(done=100)
    finishing = record(stage=Stage.FINISH, state=RunState.FINISHING, counts=counts)
    done = record(stage=Stage.FINISH, state=RunState.DONE, ended=9.0, counts=counts)
    assert progress_of(finishing, 100, []).share == 0.99
    assert progress_of(done, 100, []).share == 1.0


def test_of_the_last_finished_frames_and_of_check_and_finish_all_is_read() -> None:
    ledger, run = MemoryLedger(time.monotonic), "mole_040/v001"
    ledger.open(run)
    finish(ledger, run, {"problems": ["dust"]})
    ledger.advance(run, Stage.CHECK, Stage.COMBINE, [str(1001 + each) for each in range(20)])
    for frame in range(1001, 1016):
        finish(ledger, run, {"frame": frame})
    now = ledger.record(run)
    assert now is not None

    found = read_shown(ledger, now, FrameRange(first=1001, last=1020))

    assert [each["frame"] for each in found.recent] == list(range(1016 - RECENT, 1016))
    assert (list(found.problems), found.finished) == (["dust"], None)
    for frame in range(1016, 1021):
        finish(ledger, run, {"frame": frame})
    ledger.advance(run, Stage.COMBINE, Stage.FINISH, [SINGLE_ITEM])
    finish(ledger, run, {"remarks": ["a lamp flickers"], "reused": 0})
    assert list(read_shown(ledger, now, FrameRange(first=1001, last=1020)).problems) == [
        "a lamp flickers"
    ]


def finish(ledger: MemoryLedger, run: str, result: dict[str, Any]) -> None:
    claim = ledger.claim("m/1", run)
    assert claim is not None
    ledger.done(claim, result)
