"""The outline of a matte shape laid on pixels: exact areas, and a soft edge of a stated form."""

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.codes import Plane

Corners = NDArray[np.float64]
"""Corners of a closed outline: float64, (n, 2), x then y, pixels; pixel centres at 0.5, y down."""


def cover_outline(corners: Corners, size: tuple[int, int]) -> Plane:
    """Return how much of each pixel an outline covers.

    Parameters
    ----------
    corners : Corners, (n, 2)
        In order, either way round; the last is joined to the first. They may lie outside the
        picture.
    size : tuple of int
        (height, width).

    Returns
    -------
    Plane
        0..1: the area of the shape in each pixel, exact to 1e-6. Where an outline overlaps
        itself the area counts once, however often it goes round; parts that are gone round in
        opposite ways take each other away only within a pixel they share.

    Raises
    ------
    LightError
        If a corner is not finite or there are fewer than three.

    Notes
    -----
    The signed area to the right of every piece of the outline within a pixel, summed along the
    rows (Green's theorem).
    """
    corners = _checked(corners)
    height, width = size
    summed = np.zeros((height, width + 2))
    for start, end in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        x, y = _pieces(start, end, height, width)
        if x.size < 2:
            continue
        rise = np.diff(y)
        middle_x, middle_y = (x[1:] + x[:-1]) / 2, (y[1:] + y[:-1]) / 2
        middle_x = np.clip(middle_x, 0, width)
        row = np.clip(middle_y.astype(np.intp), 0, height - 1)
        column = np.minimum(middle_x.astype(np.intp), width)
        share = middle_x - column
        np.add.at(summed, (row, column), rise * (1 - share))
        np.add.at(summed, (row, column + 1), rise * share)
    area = np.abs(np.cumsum(summed, axis=1)[:, :width])
    return np.clip(area, 0, 1).astype(np.float32)


def feather_outline(
    corners: Corners, size: tuple[int, int], inside_px: float, outside_px: float
) -> Plane:
    """Return the weights of an outline with a soft edge.

    Parameters
    ----------
    corners : Corners, (n, 2)
        As for `cover_outline`.
    size : tuple of int
        (height, width).
    inside_px, outside_px : float
        How far the edge reaches from the outline, 0 or more.

    Returns
    -------
    Plane
        0..1. With d the distance to the outline, above 0 inside, and
        ``t = (d + outside_px) / (inside_px + outside_px)`` held to 0..1, the weight is
        ``3 t**2 - 2 t**3``, averaged over the pixel across the edge; distances are exact. Both
        0: the areas of `cover_outline`.

    Raises
    ------
    LightError
        If a corner is not finite or there are fewer than three.
    """
    reach = inside_px + outside_px
    if reach <= 0:
        return cover_outline(corners, size)
    corners = _checked(corners)
    farthest = max(inside_px, outside_px) + 1
    far = _distances(corners, size, farthest)
    signed = np.where(_is_inside(corners, size), far, -far) + outside_px
    weight = _risen(signed + 0.5, reach) - _risen(signed - 0.5, reach)
    return np.clip(weight, 0, 1).astype(np.float32)


def _risen(way: NDArray[np.float64], reach: float) -> NDArray[np.float64]:
    """Return the integral of the edge's form up to a place `way` from where it begins."""
    t = np.clip(way / reach, 0, 1)
    return reach * (t**3 - t**4 / 2) + np.maximum(way - reach, 0)


def _pieces(
    start: Corners, end: Corners, height: int, width: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return where an edge begins, crosses lines between pixels of the picture, and ends."""
    (x0, y0), (x1, y1) = start.tolist(), end.tolist()
    if y0 == y1:
        return np.empty(0), np.empty(0)
    lowest, highest = sorted((np.clip((0 - y0) / (y1 - y0), 0, 1),
                              np.clip((height - y0) / (y1 - y0), 0, 1)))  # fmt: skip
    if lowest == highest:
        return np.empty(0), np.empty(0)
    cuts = [np.array([lowest, highest]), _crossings(y0, y1, height)]
    if x0 != x1:
        cuts.append(_crossings(x0, x1, width))
    share = np.unique(np.clip(np.concatenate(cuts), lowest, highest))
    return x0 + (x1 - x0) * share, y0 + (y1 - y0) * share


def _crossings(first: float, last: float, size: int) -> NDArray[np.float64]:
    low, high = max(min(first, last), 0), min(max(first, last), size)
    lines = np.arange(np.ceil(low), np.floor(high) + 1)
    return np.asarray((lines - first) / (last - first), dtype=np.float64)


def _distances(corners: Corners, size: tuple[int, int], farthest: float) -> NDArray[np.float64]:
    """Return the distance of each pixel's centre to the outline, where it is below `farthest`."""
    height, width = size
    nearest = np.full(size, farthest * farthest, dtype=np.float64)
    # Short pieces keep the boxes round them small.
    longest = max(16.0, 2 * farthest)
    for start, end in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        count = int(np.hypot(*(end - start)) / longest) + 1
        stops = start + np.linspace(0, 1, count + 1)[:, None] * (end - start)
        for one, two in pairwise(stops):
            left, top = np.floor(np.maximum(np.minimum(one, two) - farthest, 0)).astype(int)
            right, low = np.ceil(np.maximum(one, two) + farthest).astype(int)
            box = (slice(top, min(low, height)), slice(left, min(right, width)))
            if box[0].start < box[0].stop and box[1].start < box[1].stop:
                np.minimum(nearest[box], _squared(one, two, box), out=nearest[box])
    return np.asarray(np.sqrt(nearest), dtype=np.float64)


def _squared(one: Corners, two: Corners, box: tuple[slice, slice]) -> NDArray[np.float64]:
    """Return the squared distance of the pixels of a box to a straight piece."""
    y = np.arange(box[0].start, box[0].stop)[:, None] + 0.5 - one[1]
    x = np.arange(box[1].start, box[1].stop) + 0.5 - one[0]
    across, down = (two - one).tolist()
    length = across * across + down * down
    share = np.clip((x * across + y * down) / length, 0, 1) if length > 0 else np.float64(0)
    return np.asarray(np.square(x - share * across) + np.square(y - share * down))


def _is_inside(corners: Corners, size: tuple[int, int]) -> NDArray[np.bool_]:
    """Return whether the outline goes round the centre of each pixel (nonzero winding)."""
    height, width = size
    turns = np.zeros((height, width + 1), dtype=np.int32)
    for (x0, y0), (x1, y1) in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        top, low = min(y0, y1), max(y0, y1)
        rows = np.arange(max(int(np.ceil(top - 0.5)), 0), min(int(np.ceil(low - 0.5)), height))
        if rows.size:
            x = x0 + (rows + 0.5 - y0) * ((x1 - x0) / (y1 - y0))
            column = np.clip(np.ceil(x - 0.5), 0, width).astype(np.intp)
            np.add.at(turns, (rows, column), 1 if y1 > y0 else -1)
    wound: NDArray[np.bool_] = np.cumsum(turns, axis=1)[:, :width] != 0
    return wound


def _checked(corners: Corners) -> Corners:
    if corners.ndim != 2 or len(corners) < 3 or not np.isfinite(corners).all():
        raise LightError(
            "The outline of a matte shape has no inside",
            seen=f"{len(corners)} corners, {np.count_nonzero(~np.isfinite(corners))} not finite",
            expected="three corners at least, all finite",
            remedy="Correct the outline, or what it follows.",
        )
    return corners.astype(np.float64)
