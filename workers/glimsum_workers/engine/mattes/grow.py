"""A matte whose edge is moved outwards or inwards by any distance."""

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.codes import Plane

_DIFFERS = 1e-4
_WIDER = 1.5
"""Pixels by which a disk that holds every pixel a rim is mixed from is larger."""
_TILE = 128
"""Pixels worked on at once; where a tile and what surrounds it are even there is nothing to do."""


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
    if px == 0:
        return weight
    if px < 0:
        return np.asarray(1 - grow(np.asarray(1 - weight, np.float32), -px), dtype=np.float32)
    reach = int(px + _WIDER) + 1
    padded, grown = np.pad(weight, reach, mode="edge"), np.empty_like(weight)
    for top in range(0, weight.shape[0], _TILE):
        for left in range(0, weight.shape[1], _TILE):
            tile = grown[top : top + _TILE, left : left + _TILE]
            height, width = tile.shape
            part = padded[top : top + height + 2 * reach, left : left + width + 2 * reach]
            most = part.max()
            tile[...] = most if most == part.min() else _grown(part, px, reach)
    return grown


def _grown(part: Plane, px: float, reach: int) -> Plane:
    """Return what lies `reach` inside a part of a matte, grown."""
    inner, outer = _disk_largest(part, px, reach), _disk_largest(part, px + _WIDER, reach)
    rows, columns = np.nonzero(outer > inner + _DIFFERS)
    rim = _rim_largest(part, px, rows + reach, columns + reach)
    inner[rows, columns] = np.maximum(inner[rows, columns], rim)
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
    """Return weights between pixels, counted from the first pixel's centre."""
    top, left = rows.astype(np.intp), columns.astype(np.intp)
    down, across = (rows - top).astype(np.float32), (columns - left).astype(np.float32)
    upper = weight[top, left] * (1 - across) + weight[top, left + 1] * across
    lower = weight[top + 1, left] * (1 - across) + weight[top + 1, left + 1] * across
    return np.asarray(upper * (1 - down) + lower * down, dtype=np.float32)


def _disk_largest(part: Plane, radius: float, reach: int) -> Plane:
    """Return the largest weight among the pixel centres within a radius of each."""
    height, width = (size - 2 * reach for size in part.shape)
    farthest = int(radius + 1e-9)
    spans = _largest_runs(part, 2 * farthest + 1)
    found = part[reach : reach + height, reach : reach + width].copy()
    for row in range(-farthest, farthest + 1):
        half = int(np.sqrt(radius * radius - row * row) + 1e-9)
        length = 2 * half + 1
        level = length.bit_length() - 1
        span, left, top = spans[level], reach - half, reach + row
        rows = slice(top, top + height)
        np.maximum(found, span[rows, left : left + width], out=found)
        left += length - (1 << level)
        np.maximum(found, span[rows, left : left + width], out=found)
    return found


def _largest_runs(part: Plane, longest: int) -> list[Plane]:
    """Return for each power of two the largest weight of the run that begins in a pixel."""
    runs = [part]
    while 2 << (len(runs) - 1) <= longest:
        step = 1 << (len(runs) - 1)
        longer = runs[-1].copy()
        np.maximum(longer[:, :-step], runs[-1][:, step:], out=longer[:, :-step])
        runs.append(longer)
    return runs
