"""A gain over the shot: stops, a lamp that is out, or keyframes between which it fades."""

from itertools import pairwise
from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field

from glimsum_jobs.frame_ranges import FrameNumber

StopsNumber = Annotated[float, Field(ge=-24, le=24, allow_inf_nan=False)]
"""Stops, the logarithm to base 2 of a gain."""

Out = Literal["out"]
"""A lamp that is off: gain 0."""

Fade = Literal["light", "stops"]
"""Whether a fade is even in light (as light adds) or even in stops (as the eye sees it)."""


class Keyframe(BaseModel):
    """The value that holds on one frame."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    frame: FrameNumber
    value: StopsNumber | Out


def _rising(keys: tuple[Keyframe, ...]) -> tuple[Keyframe, ...]:
    for earlier, later in pairwise(keys):
        if later.frame <= earlier.frame:
            raise ValueError(f"keyframe {later.frame} must lie after keyframe {earlier.frame}")
    return keys


Keyframes = Annotated[
    tuple[Keyframe, ...], Field(min_length=1, max_length=10_000), AfterValidator(_rising)
]
"""Keyframes in rising order; before the first and after the last the value holds."""

Stops = StopsNumber | Out | Keyframes
"""What a step may give as ``stops``."""


def gain_of(value: float | Out) -> float:
    """Return the linear gain of stops; a lamp that is out has gain 0."""
    return 0.0 if value == "out" else float(2.0**value)


def gain_at(stops: float | Out | tuple[Keyframe, ...], frame: int, fade: Fade) -> float:
    """Return the linear gain that holds on a frame.

    Parameters
    ----------
    stops : float, "out" or tuple of Keyframe
        The value of a step; keyframes in rising order.
    frame : int
        Shot frame.
    fade : {"light", "stops"}
        How the gain moves between two keyframes.

    Returns
    -------
    float
        Linear gain, 0 or more; exact at the keyframes.
    """
    if not isinstance(stops, tuple):
        return gain_of(stops)
    if frame <= stops[0].frame:
        return gain_of(stops[0].value)
    for earlier, later in pairwise(stops):
        if frame <= later.frame:
            share = (frame - earlier.frame) / (later.frame - earlier.frame)
            return _between(earlier.value, later.value, share, fade)
    return gain_of(stops[-1].value)


def _between(start: float | Out, end: float | Out, share: float, fade: Fade) -> float:
    if share == 1:
        return gain_of(end)
    if fade == "light" or start == "out" or end == "out":
        return gain_of(start) + (gain_of(end) - gain_of(start)) * share
    return gain_of(start + (end - start) * share)
