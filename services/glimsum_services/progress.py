"""How far a run is, how fast it goes, and how long it still takes."""

from collections.abc import Mapping, Sequence
from statistics import median
from typing import Any, NamedTuple

from pydantic import BaseModel, ConfigDict, Field

from glimsum_jobs.frame_ranges import FrameRange
from glimsum_jobs.ledger import (
    SINGLE_ITEM,
    Control,
    Counts,
    Ledger,
    RunRecord,
    RunState,
    Stage,
)

RECENT = 9
"""Frames whose times are looked at: enough for a median, few enough to follow a change."""


class Progress(BaseModel):
    """How far a run is."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    share: float = Field(ge=0, le=1)
    """Part of the frames at their end; 1 only when the run is done."""
    frames_done: int
    frames_total: int
    frames_set_aside: int
    frames_a_minute: float | None
    """At the pace of the last frames and the slots at work; None while it is not known."""
    seconds_left: float | None
    """Of combining; None while it is not known."""


def progress_of(record: RunRecord, frames: int, frame_seconds: Sequence[float]) -> Progress:
    """Return the progress of a run.

    Parameters
    ----------
    record : RunRecord
        The standing of the run.
    frames : int
        Number of frames of the shot.
    frame_seconds : sequence of float
        Seconds each of the last frames took one slot.

    Returns
    -------
    Progress
        The time left is the median of `frame_seconds` times the frames left, shared by the
        slots at work now: one slow frame does not move it.
    """
    counts = record.counts.get(Stage.COMBINE, Counts())
    pace = _pace(record, counts, frame_seconds)
    at_end = counts.done + counts.set_aside
    share = min(at_end / frames, 0.99) if frames else 0.0
    if record.state in (RunState.DONE, RunState.DONE_WITH_REMARKS):
        share = 1.0
    left = None
    if pace is not None:
        left = round((frames - at_end) / pace, 1)
    return Progress(
        share=round(share, 4),
        frames_done=counts.done,
        frames_total=frames,
        frames_set_aside=counts.set_aside,
        frames_a_minute=None if pace is None else round(pace * 60, 2),
        seconds_left=left,
    )


def _pace(record: RunRecord, counts: Counts, frame_seconds: Sequence[float]) -> float | None:
    """Return frames a second, or None when nothing moves or nothing is known."""
    moving = record.ended is None and record.control is Control.RUN
    if not moving or record.stage is not Stage.COMBINE or not counts.working:
        return None
    typical = median(frame_seconds) if frame_seconds else 0.0
    return counts.working / typical if typical > 0 else None


class ShownResults(NamedTuple):
    """What the items of a run that are shown of it left behind."""

    recent: Sequence[Mapping[str, Any]]
    """Of the last finished frames, the newest last; at most `RECENT`."""
    checked: Mapping[str, Any] | None
    """Of the check, None before its end."""
    finished: Mapping[str, Any] | None
    """Of the finish, None before its end."""

    @property
    def problems(self) -> Sequence[object]:
        """The remarks of the finish; before it what the check found, as they wrote them."""
        if self.finished:
            return list(self.finished.get("remarks", []))
        return list((self.checked or {}).get("problems", []))


def read_shown(ledger: Ledger, record: RunRecord, asked: FrameRange) -> ShownResults:
    """Return what is shown of a run, read at one moment.

    Frames are taken in order, so the newest stand just before the number of frames at their
    end; frames out of order are missed, which harms neither a median nor a preview.
    """
    counts = record.counts.get(Stage.COMBINE, Counts())
    end = min(counts.total, counts.done + counts.set_aside + counts.working)
    places = range(max(0, end - RECENT - counts.working), end)
    frames = [(Stage.COMBINE, str(asked.first + place)) for place in places]
    stages = [(Stage.CHECK, SINGLE_ITEM), (Stage.FINISH, SINGLE_ITEM)]
    checked, finished, *made = ledger.results(record.run, [*stages, *frames])
    return ShownResults([each for each in made if each is not None][-RECENT:], checked, finished)
