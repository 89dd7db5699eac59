"""Frame numbers of a shot and the numbers of the files that hold them."""

from typing import Annotated, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

FrameNumber = Annotated[int, Field(ge=0, le=9_999_999, strict=True)]
"""Number of a shot frame or of a file of a sequence."""

MAX_FRAMES = 100_000


class FrameRange(BaseModel):
    """The frames that are made, handles included; both ends are made."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    first: FrameNumber
    last: FrameNumber

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.last < self.first:
            raise ValueError(f"last ({self.last}) must not lie before first ({self.first})")
        if self.count > MAX_FRAMES:
            raise ValueError(f"{self.count} frames are asked for, at most {MAX_FRAMES} a shot")
        return self

    @property
    def count(self) -> int:
        """Return how many frames the range holds."""
        return self.last - self.first + 1

    @property
    def numbers(self) -> range:
        """Return the frame numbers in order."""
        return range(self.first, self.last + 1)


class Handles(BaseModel):
    """Frames made beyond the cut at each end."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    head: Annotated[int, Field(ge=0, le=1000, strict=True)] = 0
    tail: Annotated[int, Field(ge=0, le=1000, strict=True)] = 0


def source_number(
    frame: int,
    *,
    shot_first: int,
    first: int,
    step: int,
    skip: frozenset[int],
    start_offset: int,
) -> int:
    """Return the number of the file that holds a shot frame.

    Without skipped shots this is ``first + (frame - shot_first) * step + start_offset``; a
    skipped number does not count, so everything behind it moves on by one step.

    Parameters
    ----------
    frame : int
        Shot frame.
    shot_first : int
        First frame of the shot.
    first : int
        File number of the pass at the first frame, before the offset.
    step : int
        Every how many file numbers one counts.
    skip : frozenset of int
        File numbers that hold a shot fired by mistake.
    start_offset : int
        Positive when the pass was started early: its picture is found later.

    Returns
    -------
    int
        File number; it may lie outside what the card holds.
    """
    start = first + start_offset
    number = start + max(0, frame - shot_first) * step
    for skipped in sorted(skip):
        if start <= skipped <= number and (skipped - start) % step == 0:
            number += step
    return number


def runs_of(numbers: list[int]) -> str:
    """Write sorted numbers as words: ``1001 to 1004, 1007``."""
    groups: list[list[int]] = []
    for number in sorted(numbers):
        if groups and number == groups[-1][-1] + 1:
            groups[-1].append(number)
        else:
            groups.append([number])
    return ", ".join(f"{g[0]} to {g[-1]}" if len(g) > 1 else str(g[0]) for g in groups)
