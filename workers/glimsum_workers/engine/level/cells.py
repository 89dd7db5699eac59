"""Cells of two small pictures held against each other, one of them moved."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.codes import Plane

Values = NDArray[np.float64]

Motion = NDArray[np.float64]
"""An affine map (2, 3): x', y' = M [x, y, 1], in cells about the middle of the grid."""


def centred(plane: Plane) -> tuple[Values, Values]:
    """Return x and y of every cell about the middle of the grid, (rows, columns) each."""
    rows, columns = plane.shape
    y, x = np.mgrid[0:rows, 0:columns].astype(np.float64)
    return x - (columns - 1) / 2, y - (rows - 1) / 2


def differ(
    before: Plane,
    after: Plane,
    valid: NDArray[np.bool_],
    doubt: Plane,
    motion: Motion,
    *,
    extra: Sequence[NDArray[np.float64] | float] = (0.0, 0.0),
) -> tuple[NDArray[np.float64], ...]:
    """Return how two small pictures differ, cell by cell.

    Parameters
    ----------
    before, after : Plane, (rows, columns)
        Scene-linear cell means, ambient removed.
    valid : bool array, (rows, columns)
        Cells to use.
    doubt : Plane, (rows, columns)
        A cell counts by light**2 / (light**2 + doubt**2).
    motion : Motion
        By which `after` shows what `before` showed.
    extra : two arrays or floats
        Beyond it, in cells, right and down.

    Returns
    -------
    tuple of float64 arrays, (rows, columns)
        ln after - ln before moved; each cell's weight, 0..1; ln before moved; and the mean of
        both logarithms.
    """
    x, y = centred(before)
    at_x = motion[0, 0] * x + motion[0, 1] * y + motion[0, 2] + extra[0]
    at_y = motion[1, 0] * x + motion[1, 1] * y + motion[1, 2] + extra[1]
    soft = max(0.1 * float(doubt.min()), 1e-12)
    moved, inside = _sample(np.log(np.maximum(before, soft)), at_x, at_y)
    held, _ = _sample(valid.astype(np.float64), at_x, at_y)
    there = np.log(np.maximum(after, soft))
    mean = 0.5 * (moved + there)
    light = np.exp(mean)
    prior = light**2 / (light**2 + doubt.astype(np.float64) ** 2 + 1e-24)
    usable = inside & valid & (held > 0.99)
    usable &= (moved > np.log(2 * soft)) & (there > np.log(2 * soft))
    return there - moved, prior * usable, moved, mean


def _sample(
    plane: NDArray[np.float64], x: NDArray[np.float64], y: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Return `plane` at x, y (cells about its middle), cubic, and which places are inside."""
    rows, columns = plane.shape
    column, row = x + (columns - 1) / 2, y + (rows - 1) / 2
    inside = (column >= 0) & (column <= columns - 1) & (row >= 0) & (row <= rows - 1)
    column, row = np.clip(column, 0, columns - 1), np.clip(row, 0, rows - 1)
    c, r = np.floor(column).astype(np.intp), np.floor(row).astype(np.intp)
    # Linear weights would soften what is moved by half a cell and so change its logarithm.
    across, down = _cubic(column - c), _cubic(row - r)
    flat, total = plane.ravel(), np.zeros_like(x)
    for step_down, weight_down in enumerate(down):
        line = np.clip(r + step_down - 1, 0, rows - 1) * columns
        for step_across, weight_across in enumerate(across):
            place = line + np.clip(c + step_across - 1, 0, columns - 1)
            total += weight_down * weight_across * flat[place]
    return total, inside


def _cubic(t: NDArray[np.float64]) -> list[NDArray[np.float64]]:
    """Return the four weights of cubic convolution (Keys 1981, doi 10.1109/TASSP.1981.1163711)."""
    return [
        t * (-0.5 + t * (1 - 0.5 * t)),
        1 + t * t * (-2.5 + 1.5 * t),
        t * (0.5 + t * (2 - 1.5 * t)),
        t * t * (-0.5 + 0.5 * t),
    ]
