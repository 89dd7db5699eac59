"""What was measured of a version: places, flicker and start offsets, in the form of the command."""

from collections.abc import Sequence

from pydantic import BaseModel, ConfigDict

from glimsum_jobs.ledger import SINGLE_ITEM, ItemState, Ledger, Stage
from glimsum_jobs.measurements import Checked, Levels, Solved
from glimsum_jobs.orders import RunOrder
from glimsum_jobs.settled import settled
from glimsum_services.api.problem_details import MOST_ERRORS, Trouble, as_trouble
from glimsum_services.measured_form import PassMeasured, show_pass


class FrameLevel(BaseModel):
    """The flicker of a pass on a frame."""

    model_config = ConfigDict(extra="forbid")

    frame: int
    gain: float
    """What the lamp gave over its steady level; the frame is divided by it."""
    sigma: float | None
    """Standard error of the gain; None where it could not be measured."""
    trusted: bool


class PassAnswer(PassMeasured):
    """What was measured of one pass."""

    level: list[FrameLevel] | None
    """None where the level of the pass is left as it is."""


class Unmeasured(BaseModel):
    """An item of measuring that was set aside."""

    model_config = ConfigDict(extra="forbid")

    item: str
    """Kind, pass and frame, as ``track:haze:1004``."""
    reason: str


class Measurements(BaseModel):
    """Everything that was measured once and is used by every frame."""

    model_config = ConfigDict(extra="forbid")

    shot: str
    version: int
    revision: str | None
    """Digest of all measurements, part of each frame's fingerprint; None before solving is done."""
    passes: dict[str, PassAnswer]
    """By name. `frames` and `level` hold this page's frames only, everything else is whole."""
    remarks: list[Trouble]
    unmeasured: list[Unmeasured]
    """At most 200."""
    after: int | None
    """Last frame of this page where there are more; None on the last page."""


def show_measurements(
    ledger: Ledger, order: RunOrder, after: int | None, limit: int
) -> Measurements:
    """Return what was measured of a version, one page of frames.

    Parameters
    ----------
    ledger : Ledger
        Holds what check, measuring and solving left behind.
    order : RunOrder
        The version.
    after : int or None
        Frames behind this one; from the first where None.
    limit : int
        At most this many frames.
    """
    result = ledger.result(order.run, Stage.SOLVE, SINGLE_ITEM)
    solved = None if result is None else Solved.model_validate(result)
    numbers = [f for f in order.job.frames.numbers if after is None or f > after]
    page = numbers[:limit]
    return Measurements(
        shot=order.job.shot,
        version=order.version,
        revision=None if solved is None else solved.revision,
        passes={} if solved is None else _passes(ledger, order, solved, page),
        remarks=[]
        if solved is None
        else [as_trouble(problem) for problem in solved.problems[:MOST_ERRORS]],
        unmeasured=_unmeasured(ledger, order.run),
        after=page[-1] if page and len(numbers) > limit else None,
    )


def _passes(
    ledger: Ledger, order: RunOrder, solved: Solved, page: Sequence[int]
) -> dict[str, PassAnswer]:
    checked = Checked.model_validate(ledger.result(order.run, Stage.CHECK, SINGLE_ITEM))
    job = settled(order.job, checked)
    return {
        name: PassAnswer(
            **show_pass(
                job.passes[name].stated_offset,
                solved.tracks.get(name),
                checked.passes.get(name),
                page,
            ).model_dump(),
            level=_level(solved.levels.get(name), page),
        )
        for name in dict.fromkeys([*solved.tracks, *solved.levels])
    }


def _level(levels: Levels | None, page: Sequence[int]) -> list[FrameLevel] | None:
    if levels is None:
        return None
    return [
        FrameLevel(
            frame=frame,
            gain=levels.gains[frame],
            sigma=None if levels.sigma[frame] < 0 else levels.sigma[frame],
            trusted=levels.trusted[frame],
        )
        for frame in page
        if frame in levels.gains
    ]


def _unmeasured(ledger: Ledger, run: str) -> list[Unmeasured]:
    aside = [
        Unmeasured(item=item.item, reason=item.failure.message if item.failure else "")
        for item in ledger.items(run, Stage.MEASURE)
        if item.state is ItemState.SET_ASIDE
    ]
    return aside[:MOST_ERRORS]
