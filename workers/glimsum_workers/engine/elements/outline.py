"""How much of each pixel a polygon covers, exactly."""

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.codes import Plane


def covered_areas(points: NDArray[np.float64], size: tuple[int, int]) -> Plane:
    """Return the area of each pixel that lies inside a polygon.

    Parameters
    ----------
    points : float64 array, (n, 2)
        Corners in order, x then y, pixels; pixel (0, 0) reaches from 0 to 1. The polygon doesn't
        cross itself.
    size : tuple of int
        (height, width) of the result.

    Returns
    -------
    Plane
        0..1; exact to float32 rounding.

    Notes
    -----
    Each edge is cut at the borders of pixels; a piece adds its height to every pixel right of
    it, and to its own pixel the area on its right (Green's theorem).
    """
    height, width = size
    sums = np.zeros((height, width + 1), np.float64)
    for start, end in zip(points, np.roll(points, -1, axis=0), strict=True):
        _add_edge(sums, start, end)
    areas = np.abs(np.cumsum(sums, axis=1)[:, :width])
    return np.minimum(areas, 1.0).astype(np.float32)


def _add_edge(
    sums: NDArray[np.float64], start: NDArray[np.float64], end: NDArray[np.float64]
) -> None:
    height, width = sums.shape[0], sums.shape[1] - 1
    way = end - start
    if way[1] == 0:
        return
    cuts = [np.array([0.0, 1.0])]
    for axis, most in ((0, width), (1, height)):
        if way[axis] != 0:
            low, high = sorted((start[axis], end[axis]))
            borders = np.arange(max(0, np.ceil(low)), min(most, np.floor(high)) + 1)
            cuts.append((borders - start[axis]) / way[axis])
    share = np.unique(np.clip(np.concatenate(cuts), 0.0, 1.0))
    middle = start + (share[1:] + share[:-1])[:, None] / 2 * way
    tall = np.diff(share) * way[1]
    inside = (middle[:, 1] >= 0) & (middle[:, 1] < height) & (middle[:, 0] < width)
    tall, middle = tall[inside], middle[inside]
    row = np.floor(middle[:, 1]).astype(np.intp)
    across = np.maximum(middle[:, 0], 0.0)
    column = np.floor(across).astype(np.intp)
    right = tall * (column + 1 - across)
    np.add.at(sums, (row, column), right)
    np.add.at(sums, (row, column + 1), tall - right)
