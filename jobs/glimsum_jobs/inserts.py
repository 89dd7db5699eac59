"""Screen inserts: a picture or clip fixed to a flat surface of the model by its corners."""

from itertools import pairwise
from typing import Annotated, Literal

from pydantic import AfterValidator, Field

from glimsum_jobs.frame_ranges import FrameNumber
from glimsum_jobs.matte_shapes import Point
from glimsum_jobs.passes import FileName, Name, SpaceName, Strict

Corners = tuple[Point, Point, Point, Point]
"""Top left, top right, bottom right and bottom left corner of the inserted picture."""


class CornerMark(Strict):
    """Where the corners of an insert lie on one frame of the reference."""

    frame: FrameNumber
    points: Corners
    """x right, y down, pixels of the reference at full size; centre of the first pixel 0.5, 0.5;
    in the order top left, top right, bottom right, bottom left of the inserted picture."""


def _rising(marks: tuple[CornerMark, ...]) -> tuple[CornerMark, ...]:
    for earlier, later in pairwise(marks):
        if later.frame <= earlier.frame:
            raise ValueError(f"mark {later.frame} must lie after mark {earlier.frame}")
    return marks


class Insert(Strict):
    """A picture that is laid on a surface and goes where the reference shows it.

    On shot frame f the file number is ``first + (f - first shot frame) // every * step``. A clip
    counts its frames from 0; one still is held.
    """

    files: FileName
    """A pattern with one %04d, a clip, or one still; relative or root:path."""
    space: SpaceName
    """Interop ID of the encoding of the files."""
    range: Literal["limited", "full"] | None = None
    """Range of the codes of a clip; asked for where the clip does not say."""
    alpha: Literal["premultiplied", "straight", "none"] | None = None
    """How colour was stored with its coverage; default: as the files say."""
    first: FrameNumber | None = None
    """File number on the first shot frame; default: the lowest number present (clips: 0)."""
    every: Annotated[int, Field(ge=1, le=1000, strict=True)] = 1
    """How many shot frames a picture of the insert stands: 2 shows each one twice."""
    step: Annotated[int, Field(ge=1, le=1000, strict=True)] = 1
    beyond: Literal["refuse", "hold", "loop"] = "refuse"
    """What follows the last file: the job is refused, the last one stands, or it begins again
    with `first`."""
    corners: Annotated[
        tuple[CornerMark, ...], Field(min_length=1, max_length=10_000), AfterValidator(_rising)
    ]
    """Marks, in rising order. On a marked frame the mark holds; on the others the corners are
    followed from the nearest marks."""
    stops: Annotated[float, Field(ge=-24, le=24, allow_inf_nan=False)] = 0.0
    """Gain of the insert itself, before its grain."""
    tint_mired: Annotated[float, Field(ge=-500, le=500, allow_inf_nan=False)] = 0.0
    softness: Annotated[float, Field(ge=0, le=64, allow_inf_nan=False)] = 0.0
    """Standard deviation of the Gaussian that picture and edge are softened by, pixels of the
    reference."""
    grain: Annotated[float, Field(ge=0, le=16, allow_inf_nan=False)] | Literal["match"] = "match"
    """match, or 1: as much as the light would have had in the unit pass, on the noise of the
    passes laid before; 0.5 half of that, 0 none."""
    holdout: Name | None = None
    """Matte that keeps the insert out where it is 1: what stands before the surface."""

    @property
    def grain_amount(self) -> float:
        """Return the grain in shares of the plate's."""
        return 1.0 if self.grain == "match" else self.grain

    def is_there(self, frame: int) -> bool:
        """Return True: an insert is there on every frame."""
        return True

    def number(self, frame: int, *, shot_first: int, first: int, last: int | None = None) -> int:
        """Return the file number on a shot frame.

        Parameters
        ----------
        frame : int
            Shot frame.
        shot_first : int
            First frame of the shot.
        first : int
            `first` of the insert, resolved.
        last : int, optional
            Highest number present; None for one still, which answers every number.

        Returns
        -------
        int
            With ``beyond: refuse`` it may lie above `last`.
        """
        passed = max(0, frame - shot_first) // self.every
        if last is not None and last >= first:
            steps = (last - first) // self.step
            if self.beyond == "hold":
                passed = min(passed, steps)
            elif self.beyond == "loop":
                passed %= steps + 1
        return first + passed * self.step
