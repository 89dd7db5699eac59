"""A matte whose edge is moved outwards or inwards by any distance."""

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.codes import Plane

_DIFFERS = 1e-4


def grow(weight: Plane, px: float) -> Plane:
    """Return a matte whose edge is moved by a distance, its softness kept.

    Parameters
    ----------
    weight : Plane
        0..1.
    px : float
        Pixels outwards; below 0 inwards. Fractions count.

    Returns
    -------
    Plane
        0..1: the largest weight within `px` of each pixel, so that every contour of the weight
        moves by that distance; inwards the least. Weights between pixels are bilinear. The
        edges of disks and of straight lines at any angle move to 0.05 px.

    Notes
    -----
    Grey dilation by a flat disk: Serra 1982, Image Analysis and Mathematical Morphology (from
    memory). The disk is the pixel centres in it, and its rim between them.
    """
    if px == 0 or weight.min() == weight.max():
        return weight
    if px < 0:
        return np.asarray(1 - grow(np.asarray(1 - weight, np.float32), -px), dtype=np.float32)
    inner, outer = _disk_largest(weight, px), _disk_largest(weight, px + 1.5)
    rows, columns = np.nonzero(outer > inner + _DIFFERS)
    inner[rows, columns] = np.maximum(inner[rows, columns], _rim_largest(weight, px, rows, columns))
    return inner


def _rim_largest(
    weight: Plane, px: float, rows: NDArray[np.intp], columns: NDArray[np.intp]
) -> NDArray[np.float32]:
    """Return the largest weight on the rim of a disk about each pixel."""
    count = max(16, int(np.ceil(3 * np.pi * px)))
    found = np.zeros(rows.size, dtype=np.float32)
    for turn in np.arange(count) * (2 * np.pi / count):
        found = np.maximum(
            found, _between(weight, rows + px * np.sin(turn), columns + px * np.cos(turn))
        )
    return found


def _between(
    weight: Plane, rows: NDArray[np.float64], columns: NDArray[np.float64]
) -> NDArray[np.float32]:
    """Return weights between pixels, counted from the first pixel's centre; the border repeats."""
    tallest, widest = weight.shape[0] - 1, weight.shape[1] - 1
    rows, columns = np.clip(rows, 0, tallest), np.clip(columns, 0, widest)
    top, left = rows.astype(np.intp), columns.astype(np.intp)
    low, right = np.minimum(top + 1, tallest), np.minimum(left + 1, widest)
    down, across = (rows - top).astype(np.float32), (columns - left).astype(np.float32)
    upper = weight[top, left] * (1 - across) + weight[top, right] * across
    lower = weight[low, left] * (1 - across) + weight[low, right] * across
    return np.asarray(upper * (1 - down) + lower * down, dtype=np.float32)


def _disk_largest(weight: Plane, radius: float) -> Plane:
    """Return the largest weight among the pixel centres within a radius of each."""
    reach = int(radius + 1e-9)
    height, width = weight.shape
    spans = _largest_runs(np.pad(weight, reach, mode="edge"), 2 * reach + 1)
    found = weight.copy()
    for row in range(-reach, reach + 1):
        half = int(np.sqrt(radius * radius - row * row) + 1e-9)
        length = 2 * half + 1
        level = length.bit_length() - 1
        span, left, top = spans[level], reach - half, reach + row
        rows = slice(top, top + height)
        np.maximum(found, span[rows, left : left + width], out=found)
        left += length - (1 << level)
        np.maximum(found, span[rows, left : left + width], out=found)
    return found


def _largest_runs(padded: Plane, longest: int) -> list[Plane]:
    """Return for each power of two the largest weight of the run that begins in a pixel."""
    runs = [padded]
    while 2 << (len(runs) - 1) <= longest:
        step = 1 << (len(runs) - 1)
        longer = runs[-1].copy()
        np.maximum(longer[:, :-step], runs[-1][:, step:], out=longer[:, :-step])
        runs.append(longer)
    return runs
