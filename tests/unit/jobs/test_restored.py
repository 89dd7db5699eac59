"""A run told from its lines alone stands as it stood in the ledger."""

from collections.abc import Mapping
from typing import Any

from glimsum_jobs.ledger import STAGES, Control, ItemState, RunState, Stage
from glimsum_jobs.left_behind import LeftBehind
from glimsum_jobs.orders import RunOrder
from glimsum_jobs.restored import NOT_KEPT, RestoredRun, Wishes, restore_run
from support.small_shots import exr_pass, small_shot

SHA = "0" * 64
CHECKED: dict[str, Any] = {
    "passes": {
        "key": {"first": 1, "width": 64, "height": 36, "count": 3, "covers": True},
        "leak": {"first": 1, "width": 64, "height": 36, "count": 3, "covers": True},
    },
    "mattes": {},
    "problems": [],
    "needed_bytes": 1,
    "free_bytes": 2,
}
SOLVED: dict[str, Any] = {"averages": {}, "levels": {}, "problems": [], "revision": SHA}
AVERAGED: dict[str, Any] = {
    "pass_name": "leak",
    "key": SHA,
    "frames": 3,
    "mean": (0.0, 0.0, 0.0),
    "noise": (0.0, 0.0, 0.0),
}


def checked(problem: dict[str, Any]) -> dict[str, Any]:
    return {**CHECKED, "problems": [problem]}


def order() -> RunOrder:
    passes = {"key": exr_pass("key", ambient="leak"), "leak": exr_pass("leak", use="ambient")}
    return RunOrder(
        run="small/v001",
        shot="small",
        version=1,
        job=small_shot(passes=passes),
        job_digest=SHA,
        folder="out:small/v001",
        made="2026-01-05T21:30:00Z",
    )


class Night:
    """Enters items one after the other, as workers do."""

    def __init__(self) -> None:
        self.lines: list[LeftBehind] = []

    def enter(self, stage: Stage, item: str = "shot", **result: Any) -> "Night":
        number = len(self.lines) + 1
        line = LeftBehind(
            stage=stage,
            item=item,
            token=number,
            worker="m/7",
            ended=1767648600.0 + number,
            seconds=1.0,
            result=result,
        )
        self.lines.append(line)
        return self

    def measured(self) -> "Night":
        self.enter(Stage.CHECK, **CHECKED)
        self.enter(Stage.MEASURE, "average:leak", **AVERAGED)
        return self.enter(Stage.SOLVE, **SOLVED)

    def frame(self, frame: int) -> "Night":
        return self.enter(Stage.COMBINE, str(frame), frame=frame, name=f"{frame}.exr")


def whole(_: Mapping[str, Any]) -> bool:
    return True


def all_but(name: str) -> Any:
    return lambda result: result.get("name") != name


def states(run: RestoredRun, stage: Stage) -> dict[str, str]:
    return {item.item: item.state.value for item in run.stages[stage]}


def test_a_version_nobody_began_waits_for_its_check() -> None:
    run = restore_run(order(), [], whole)
    assert (run.stage, run.state) == (Stage.CHECK, None)
    assert states(run, Stage.CHECK) == {"shot": "waiting"}


def test_a_half_finished_night_stands_where_it_stood() -> None:
    night = Night().measured().frame(1001).frame(1003)
    run = restore_run(order(), night.lines, whole)
    assert (run.stage, run.state, run.ended) == (Stage.COMBINE, None, None)
    assert states(run, Stage.COMBINE) == {"1001": "done", "1002": "waiting", "1003": "done"}
    assert states(run, Stage.MEASURE) == {"average:leak": "done"}
    for stage in (Stage.CHECK, Stage.MEASURE, Stage.SOLVE, Stage.COMBINE):
        kept = {item.item: item.result for item in run.stages[stage] if item.result is not None}
        assert kept == {line.item: line.result for line in night.lines if line.stage is stage}


def test_a_finished_run_is_finished_and_a_damaged_master_opens_it_again() -> None:
    night = Night().measured().frame(1001).frame(1002).frame(1003)
    night.enter(Stage.FINISH, remarks=[])
    run = restore_run(order(), night.lines, whole)
    assert (run.stage, run.state, run.damaged) == (Stage.FINISH, RunState.DONE, ())
    assert run.ended == night.lines[-1].ended

    run = restore_run(order(), night.lines, all_but("1002.exr"))
    assert (run.stage, run.state, run.damaged) == (Stage.COMBINE, None, ("1002",))
    assert states(run, Stage.COMBINE) == {"1001": "done", "1002": "waiting", "1003": "done"}


def test_a_frame_set_aside_in_a_finished_run_stays_so_with_its_reason() -> None:
    remark = {
        "rank": "stops a frame",
        "what": "the frame is set aside",
        "place": {"shot": "small", "frame": 1002},
        "seen": "key.0002.exr is cut off",
        "expected": "a master",
        "remedy": "Mend it.",
    }
    night = Night().measured().frame(1001).frame(1003).enter(Stage.FINISH, remarks=[remark])
    run = restore_run(order(), night.lines, whole)
    assert run.state is RunState.DONE_WITH_REMARKS
    aside = run.stages[Stage.COMBINE][1]
    assert aside.state is ItemState.SET_ASIDE
    assert aside.failure is not None
    assert aside.failure.message == "key.0002.exr is cut off"


def test_a_measurement_without_a_line_is_not_waited_for_once_its_stage_was_left() -> None:
    night = Night().enter(Stage.CHECK, **CHECKED).enter(Stage.SOLVE, **SOLVED).frame(1001)
    run = restore_run(order(), night.lines, whole)
    (item,) = run.stages[Stage.MEASURE]
    assert item.failure is not None
    assert (item.state, item.failure.message) == (ItemState.SET_ASIDE, NOT_KEPT)
    assert run.stage is Stage.COMBINE


def test_a_shot_the_check_refused_stays_refused() -> None:
    stopped: dict[str, Any] = {"rank": "stops the shot", "what": "no files"}
    night = Night().enter(Stage.CHECK, **checked(stopped))
    run = restore_run(order(), night.lines, whole)
    assert (run.state, list(run.stages)) == (RunState.REFUSED, [Stage.CHECK])


def test_a_frame_the_check_found_dead_is_set_aside_again_and_made_if_it_was_made_later() -> None:
    dead: dict[str, Any] = {"rank": "stops a frame", "what": "cut off", "place": {"frame": 1002}}
    night = Night().enter(Stage.CHECK, **checked(dead))
    night.enter(Stage.MEASURE, "average:leak", **AVERAGED).enter(Stage.SOLVE, **SOLVED)
    run = restore_run(order(), night.frame(1001).lines, whole)
    assert states(run, Stage.COMBINE) == {"1001": "done", "1002": "set aside", "1003": "waiting"}
    run = restore_run(order(), night.frame(1002).lines, whole)
    assert states(run, Stage.COMBINE)["1002"] == "done"


def test_a_cancelled_run_is_not_begun_again_and_a_paused_one_rests() -> None:
    lines = Night().measured().frame(1001).lines
    cancelled = restore_run(order(), lines, whole, Wishes(control=Control.CANCEL, at=1.8e9))
    assert (cancelled.state, cancelled.ended) == (RunState.CANCELLED, 1.8e9)
    paused = restore_run(order(), lines, whole, Wishes(control=Control.PAUSE, priority=70))
    assert (paused.state, paused.wishes.control, paused.wishes.priority) == (
        None,
        Control.PAUSE,
        70,
    )


def test_frames_made_before_solving_was_done_again_are_made_again() -> None:
    night = Night().measured().frame(1001).enter(Stage.SOLVE, **SOLVED).frame(1002)
    run = restore_run(order(), night.lines, whole)
    assert states(run, Stage.COMBINE) == {"1001": "waiting", "1002": "done", "1003": "waiting"}
    assert set(run.stages) == set(STAGES) - {Stage.FINISH}
