"""What comes next: the items of each stage, planned from the job and from what was found."""

from collections.abc import Callable

from pydantic import BaseModel, ConfigDict

from glimsum_jobs.ledger import (
    SINGLE_ITEM,
    Cause,
    Failure,
    ItemRecord,
    ItemState,
    RunState,
    Stage,
)
from glimsum_jobs.measurements import Checked, Wedged
from glimsum_jobs.orders import Order, RunOrder, WedgeOrder
from glimsum_jobs.patches import marked_patches
from glimsum_jobs.problems import Rank
from glimsum_jobs.shot import ShotJob

AVERAGE = "average"
SAMPLE = "sample"
TRACK = "track"
ALIGN = "align"
FOLLOW = "follow"


class NextStage(BaseModel):
    """The step of a run after a stage is at its end."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    stage: Stage | None
    items: tuple[str, ...] = ()
    set_aside: tuple[tuple[str, Failure], ...] = ()
    """Items nobody should take, with the reason; they are among `items`."""
    end: RunState | None = None


Items = Callable[[Stage], list[ItemRecord]]
"""Gives the items of a finished stage."""


def next_stage(order: Order, stage: Stage, items: Items) -> NextStage:
    """Return what follows a stage whose items are all at their end."""
    if isinstance(order, WedgeOrder):
        return NextStage(stage=None, end=_how_the_wedge_ended(items))
    match stage:
        case Stage.CHECK:
            return _after_check(order, items)
        case Stage.MEASURE:
            return NextStage(stage=Stage.SOLVE, items=(SINGLE_ITEM,))
        case Stage.SOLVE:
            return _after_solve(order, items)
        case Stage.COMBINE:
            return NextStage(stage=Stage.FINISH, items=(SINGLE_ITEM,))
        case Stage.FINISH:
            return NextStage(stage=None, end=_how_it_ended(items))
        case Stage.WEDGE:
            raise ValueError(f"{order.run} is a version; a wedge is a run of its own")


def _how_the_wedge_ended(items: Items) -> RunState:
    result = items(Stage.WEDGE)[0].result
    wedged = None if result is None else Wedged.model_validate(result)
    if wedged is None or wedged.refused:
        return RunState.REFUSED
    return RunState.DONE_WITH_REMARKS if wedged.problems else RunState.DONE


def _after_check(order: RunOrder, items: Items) -> NextStage:
    record = items(Stage.CHECK)[0]
    if record.result is None or Checked.model_validate(record.result).refused:
        return NextStage(stage=None, end=RunState.REFUSED)
    measure = measure_items(order.job, Checked.model_validate(record.result))
    if not measure:
        return NextStage(stage=Stage.SOLVE, items=(SINGLE_ITEM,))
    return NextStage(stage=Stage.MEASURE, items=tuple(measure))


def _after_solve(order: RunOrder, items: Items) -> NextStage:
    if items(Stage.SOLVE)[0].state is not ItemState.DONE:
        return NextStage(stage=None, end=RunState.REFUSED)
    checked = Checked.model_validate(items(Stage.CHECK)[0].result)
    reasons = dead_frames(checked)
    aside = tuple(
        (str(frame), Failure(cause=Cause.BAD_SOURCE, kind="SourceError", message=reason))
        for frame, reason in reasons.items()
        if frame in order.asked.numbers
    )
    frames = tuple(str(frame) for frame in order.asked.numbers)
    return NextStage(stage=Stage.COMBINE, items=frames, set_aside=aside)


def _how_it_ended(items: Items) -> RunState:
    finish = items(Stage.FINISH)[0]
    frames = items(Stage.COMBINE)
    whole = finish.state is ItemState.DONE and all(f.state is ItemState.DONE for f in frames)
    remarks = finish.result is None or bool(finish.result.get("remarks"))
    return RunState.DONE if whole and not remarks else RunState.DONE_WITH_REMARKS


def dead_frames(checked: Checked) -> dict[int, str]:
    """Return the frames the check set aside, each with its reason."""
    reasons: dict[int, str] = {}
    for problem in checked.problems:
        if problem.rank is Rank.STOPS_FRAME and problem.place.frame is not None:
            reasons.setdefault(problem.place.frame, str(problem))
    return reasons


def lacks_frame(checked: Checked, name: str, frame: int) -> bool:
    """Return whether a take has no file for a frame on which other takes make the light."""
    return name in checked.passes and frame in checked.passes[name].lacking


def measure_items(job: ShotJob, checked: Checked) -> list[str]:
    """Return the items of the stage *measure*.

    ``average:PASS`` for every dark, ambient and backing pass something needs, and
    ``sample:PASS:FRAME`` for every frame of a pass whose level is held steady, and of its
    ambient where that changes from frame to frame, and ``track:PASS:FRAME`` for every frame of
    a pass that may have drifted, and of the reference it is held against, and ``align:PASS`` for
    every alignment frame of such a pass, and ``follow:KIND:NAME`` for every patch of the
    reference that an insert, a matte or an element follows.
    """
    dead = dead_frames(checked)
    used = used_passes(job)
    averages = [name for name in used if job.passes[name].use is not None]
    steady = [name for name in used if job.passes[name].is_steady and name not in averages]
    ambients = [job.passes[name].ambient for name in steady]
    sampled = [*steady, *(name for name in ambients if name and by_frame(job, checked, name))]
    return [
        *(f"{AVERAGE}:{name}" for name in averages),
        *(
            f"{SAMPLE}:{name}:{frame}"
            for name in dict.fromkeys(sampled)
            for frame in job.frames.numbers
            if frame not in dead and not lacks_frame(checked, name, frame)
        ),
        *(
            f"{TRACK}:{name}:{frame}"
            for name in tracked_passes(job)
            for frame in job.frames.numbers
            if frame not in dead
            and not lacks_frame(checked, name, frame)
            and is_looked_at(job, name, frame)
        ),
        *(f"{ALIGN}:{name}" for name in aligned_passes(job)),
        *(f"{FOLLOW}:{patch}" for patch in marked_patches(job)),
    ]


def tracked_passes(job: ShotJob) -> list[str]:
    """Return the passes whose place is measured, the reference first; none if none may drift."""
    drifting = [
        name
        for name in used_passes(job)
        if job.passes[name].align != "none" and job.passes[name].use is None
    ]
    return list(dict.fromkeys([job.reference_pass, *drifting])) if drifting else []


def aligned_passes(job: ShotJob) -> list[str]:
    """Return the tracked passes that have an alignment frame."""
    return [name for name in tracked_passes(job) if job.passes[name].alignment is not None]


def is_looked_at(job: ShotJob, name: str, frame: int) -> bool:
    """Return whether anything of a pass is used on a frame (see `ShotJob.looks_at`)."""
    return job.looks_at(name, frame)


def hold_frame(job: ShotJob, checked: Checked) -> int:
    """Return the frame all others of a locked shot are laid on: the living one in the middle."""
    dead = dead_frames(checked)
    alive = [frame for frame in job.frames.numbers if frame not in dead]
    return alive[len(alive) // 2]


def best_frame(job: ShotJob, checked: Checked, name: str) -> int:
    """Return the frame of a pass that the others are compared with: where its lamp burns most.

    The recipe knows when a lamp is out; among frames of equal gain the one nearest to the hold
    frame is taken.
    """
    hold, dead = hold_frame(job, checked), dead_frames(checked)
    steps = [step for step in job.steps if name in job.passes_in(step)]
    if not any(step.varies for step in steps) and not lacks_frame(checked, name, hold):
        return hold
    gains = {
        frame: max((step.gain(frame) for step in steps), default=1.0)
        for frame in job.frames.numbers
        if frame not in dead and not lacks_frame(checked, name, frame)
    }
    return min(gains, key=lambda frame: (-gains[frame], abs(frame - hold), frame))


def by_frame(job: ShotJob, checked: Checked, name: str) -> bool:
    """Return whether an ambient is taken frame by frame: the camera moves and it has them all."""
    return job.camera == "moving" and checked.passes[name].covers


def used_passes(job: ShotJob) -> list[str]:
    """Return the passes the recipe needs, directly or through mattes, darks and ambients."""
    wanted = [name for step in job.steps for name in job.passes_in(step)]
    wanted += [name for step in job.steps for name in job.passes_behind(step)]
    for name in list(wanted):
        each = job.passes[name]
        wanted += [other for other in (each.ambient, each.dark) if isinstance(other, str)]
        if each.ambient is not None:
            ambient_dark = job.passes[each.ambient].dark
            wanted += [ambient_dark] if isinstance(ambient_dark, str) else []
    return list(dict.fromkeys(wanted))
