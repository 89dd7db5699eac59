"""Cues: flashes and light changes by frame, level, and frames to rise and to fall."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Annotated

from pydantic import AfterValidator, BaseModel, ConfigDict, Field

from glimsum_jobs.frame_ranges import FrameNumber
from glimsum_jobs.keyframes import Fade, StopsNumber, gain_of

FADE_STOPS = 8.0
"""How far below its level a cue that fades in stops begins and ends before it is dark: 1/256 of
its light. Our own choice; no fade in stops reaches dark by itself."""

MAX_CUES = 1000
LONGEST_FADE = 10_000


def _three_places(number: float) -> float:
    if Decimal(repr(number)) != Decimal(repr(round(number, 3))):
        raise ValueError("a cue number with three decimals at most, for example 37 or 37.3")
    return number


CueNumber = Annotated[
    float,
    Field(gt=0, le=99_999, allow_inf_nan=False, strict=True),
    AfterValidator(_three_places),
]
"""Number of a cue; one that is put between 37 and 38 later is 37.3, say."""

FadeFrames = Annotated[int, Field(ge=0, le=LONGEST_FADE, strict=True)]


class Cue(BaseModel):
    """One light change: dark, up to a level, dark again."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    cue: CueNumber
    frame: FrameNumber
    """Shot frame on which the level is reached."""
    stops: StopsNumber = 0.0
    """Level on `frame`."""
    up: FadeFrames = 0
    """Frames to rise: dark up to `frame` - `up`, even from there to `frame`. With 0 as with 1 the
    frame before is dark."""
    down: FadeFrames = 0
    """Frames to fall: even from `frame` on, dark from `frame` + `down`. With 0 as with 1 the frame
    behind is dark."""
    source: FrameNumber | None = None
    """Shot frame whose picture of the pass is shown while this cue is up: one strike used again."""

    @property
    def number(self) -> str:
        """Return the number as it stands on a cue sheet: ``37``, ``37.3``."""
        return f"{self.cue:.3f}".rstrip("0").rstrip(".")


Cues = Annotated[tuple[Cue, ...], Field(min_length=1, max_length=MAX_CUES)]
"""The cues of one step, in the order of their frames."""


def cue_gain(cues: Sequence[Cue], frame: int, fade: Fade) -> float:
    """Return the linear gain that the cues of a step give on a frame.

    Parameters
    ----------
    cues : sequence of Cue
        The cues of one step, in any order.
    frame : int
        Shot frame.
    fade : {"light", "stops"}
        Whether rise and fall are even in light, or in stops: those begin and end `FADE_STOPS`
        below the level, one frame away from dark.

    Returns
    -------
    float
        Linear gain: 2^stops exactly on the frame of a cue, 0 between cues. Where several are up
        the highest counts (common practice of the theatre, no source).
    """
    return max((_gain(cue, frame, fade) for cue in cues), default=0.0)


def cue_source(cues: Sequence[Cue], frame: int, fade: Fade = "light") -> int | None:
    """Return the shot frame whose picture a step shows on a frame, None for the frame itself.

    It is that of the highest cue that is up; of equally high ones that of the later frame.
    """
    lit = [(_gain(cue, frame, fade), cue.frame, place) for place, cue in enumerate(cues)]
    gain, _, place = max(lit, default=(0.0, 0, 0))
    return cues[place].source if gain > 0 else None


def _gain(cue: Cue, frame: int, fade: Fade) -> float:
    length = cue.up if frame < cue.frame else cue.down
    away = abs(frame - cue.frame)
    if away == 0:
        return gain_of(cue.stops)
    if away >= length:
        return 0.0
    share = away / length
    if fade == "stops":
        return gain_of(cue.stops - FADE_STOPS * share)
    return gain_of(cue.stops) * (1 - share)
