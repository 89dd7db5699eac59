"""The shape of the night report: what the API answers, the page shows, and `report` prints."""

from typing import Literal

from pydantic import BaseModel, ConfigDict

Kind = Literal[
    "machines",
    "disk",
    "refused",
    "stage failed",
    "damaged master",
    "set aside",
    "question",
    "retake",
    "not trusted",
    "conflict",
    "cancelled",
    "paused",
]
"""What a matter is about, the most pressing first."""


class Part(BaseModel):
    """Base of the parts of a report."""

    model_config = ConfigDict(extra="forbid")


class Matter(Part):
    """One thing that needs a person, or that a person should know."""

    kind: str
    run: str
    """``SHOT/vNNN``; empty where it concerns no run alone."""
    what: str
    pass_name: str
    frames: str
    """Frames concerned, as ``1001 to 1004, 1007``; empty where it concerns none alone."""
    count: int
    """How many frames."""
    seen: str
    expected: str
    remedy: str


class Share(Part):
    """What one machine made of a run, or of the night."""

    host: str
    frames: int
    hours: float
    """Sum over its slots."""


class FrameTimes(Part):
    """Seconds a frame took one slot."""

    median: float
    p95: float
    longest: float


class SlowFrame(Part):
    """A frame that took long."""

    frame: int
    seconds: float
    host: str


class Extreme(Part):
    """The frame on which a figure is largest."""

    name: str
    frame: int
    value: float


class ShotReport(Part):
    """One version of one shot."""

    run: str
    shot: str
    version: int
    sequence: str | None
    state: str
    reason: str
    begun: str
    ended: str | None
    asked: int
    made: int
    reused: int
    """How many of them were taken over from an earlier version."""
    changes: list[str]
    """What was changed against the version it was made from, in words."""
    set_aside: int
    left: int
    """Frames neither made nor set aside; none where the run has ended."""
    matters: list[Matter]
    """What was set aside, refused or failed, with reason and remedy."""
    remarks: list[Matter]
    more: int
    """Matters and remarks that are not listed here."""
    came_back: int
    """Items that were begun more than once: an error, or a process that died."""
    made_again: int
    """Frames entered more than once; the last one stands."""
    machines: list[Share]
    frame_seconds: FrameTimes | None
    slowest: list[SlowFrame]
    extremes: list[Extreme]
    folder: str
    movie: str | None
    flashes: str = ""
    """What the flash guard found in the movie, in words; empty where it did not look."""
    notes: list[str]
    """What this report could not read."""


class Gap(Part):
    """Minutes in which work was asked for and nothing was made."""

    first: str
    last: str
    minutes: int
    why: str


class MachineNow(Part):
    """A machine as it is heard now."""

    host: str
    machine: str
    slots: int
    heard: str
    silent: bool
    lacks: dict[str, str]
    """What keeps it from runs now, in words, by run."""


class Totals(Part):
    """The whole night in figures."""

    shots: int
    asked: int
    made: int
    reused: int
    set_aside: int
    left: int
    refused: int
    cancelled: int


class NightReport(Part):
    """What happened, and what to do first."""

    at: str
    since: str | None
    totals: Totals
    first: list[Matter]
    """What to do, the most pressing first."""
    more_first: int
    shots: list[ShotReport]
    more_shots: int
    """Shots that are not in this report; name a shot or a sequence to see them."""
    unread: int
    """Versions whose times were not read yet, there being so much: ask again for a whole report."""
    machines: list[MachineNow]
    shares: list[Share]
    gaps: list[Gap]
    notes: list[str]
