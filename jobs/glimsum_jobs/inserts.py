"""Screen inserts: a picture or clip fixed to a flat surface of the model by its corners."""

from itertools import pairwise
from typing import Annotated, Literal

from pydantic import AfterValidator, Field

from glimsum_jobs.frame_ranges import FrameNumber
from glimsum_jobs.laid_files import LaidFiles
from glimsum_jobs.matte_shapes import Point
from glimsum_jobs.passes import Strict

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


class Insert(LaidFiles):
    """A picture that is laid on a surface and goes where the reference shows it."""

    corners: Annotated[
        tuple[CornerMark, ...], Field(min_length=1, max_length=10_000), AfterValidator(_rising)
    ]
    """Marks, in rising order. On a marked frame the mark holds; on the others the corners are
    followed from the nearest marks."""
    stops: Annotated[float, Field(ge=-24, le=24, allow_inf_nan=False)] = 0.0
    """Gain of the insert itself, before its grain."""
    tint_mired: Annotated[float, Field(ge=-500, le=500, allow_inf_nan=False)] = 0.0
    grain: Annotated[float, Field(ge=0, le=16, allow_inf_nan=False)] | Literal["match"] = "match"
    """match, or 1: as much as the light would have had in the unit pass, on the noise of the
    passes laid before; 0.5 half of that, 0 none."""

    @property
    def grain_amount(self) -> float:
        """Return the grain in shares of the plate's."""
        return 1.0 if self.grain == "match" else self.grain

    def is_there(self, frame: int) -> bool:
        """Return True: an insert is there on every frame."""
        return True
