"""The outline of a matte shape, keyed over frames, and the width of its soft edge."""

from itertools import pairwise
from typing import Annotated

from pydantic import AfterValidator, Field

from glimsum_jobs.frame_ranges import FrameNumber
from glimsum_jobs.passes import Strict

Coordinate = Annotated[float, Field(ge=-131_072, le=131_072, allow_inf_nan=False)]
Point = tuple[Coordinate, Coordinate]
"""x right, y down, pixels of the reference at full size; centre of the first pixel 0.5, 0.5."""

Width = Annotated[float, Field(ge=0, le=500, allow_inf_nan=False)]
"""Pixels of the reference at full size."""


class ShapeKey(Strict):
    """The outline that holds on one frame."""

    frame: FrameNumber
    points: Annotated[tuple[Point, ...], Field(min_length=3, max_length=2000)]
    """Corners in order, either way round; the last is joined to the first."""


def _rising(keys: tuple[ShapeKey, ...]) -> tuple[ShapeKey, ...]:
    for earlier, later in pairwise(keys):
        if later.frame <= earlier.frame:
            raise ValueError(f"outline {later.frame} must lie after outline {earlier.frame}")
    return keys


ShapeKeys = Annotated[
    tuple[ShapeKey, ...], Field(min_length=1, max_length=10_000), AfterValidator(_rising)
]
"""Outlines in rising order; between two of them each corner moves evenly along a straight line,
before the first and after the last they hold."""


class SoftEdge(Strict):
    """How far a soft edge reaches from the outline, pixels."""

    inside: Width = 0.0
    outside: Width = 0.0


Feather = Width | SoftEdge


def soft_edge(feather: float | SoftEdge) -> SoftEdge:
    """Return how far a feather reaches to either side, however it was written."""
    if isinstance(feather, SoftEdge):
        return feather
    return SoftEdge(inside=feather / 2, outside=feather / 2)


def outline_at(keys: tuple[ShapeKey, ...], frame: int) -> tuple[tuple[float, float], ...]:
    """Return the corners of a keyed outline on a frame; exact at its keys.

    Parameters
    ----------
    keys : tuple of ShapeKey
        In rising order, all with the same number of points.
    frame : int
        Shot frame.

    Returns
    -------
    tuple of (x, y)
    """
    for earlier, later in pairwise(keys):
        if earlier.frame < frame < later.frame:
            share = (frame - earlier.frame) / (later.frame - earlier.frame)
            return tuple(
                (x + (u - x) * share, y + (v - y) * share)
                for (x, y), (u, v) in zip(earlier.points, later.points, strict=True)
            )
    before = [key for key in keys if key.frame <= frame]
    return (before[-1] if before else keys[0]).points
