"""Two frames of one pass compared: the ratio of their light, their motion let go."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.codes import Plane

Motion = NDArray[np.float64]
"""An affine map (2, 3): x', y' = M [x, y, 1], in cells about the middle of the grid."""

_STEPS = 12
_TUKEY = 4.685
"""Biweight limit in sigmas: 95 % efficient on normal errors (Beaton & Tukey 1974)."""
_MISPLACED = 0.1
"""Cells by which an affine map misses parallax; measured as the best of 0, 0.1 and 0.3."""
_PLAIN_NOISE = 0.02
"""Relative scatter of a cell where the light is even."""


class Pair(NamedTuple):
    """What comparing two frames gave.

    Attributes
    ----------
    first, second : int
        Indices of the frames.
    log_ratio : float
        ln (light of second / light of first).
    sigma : float
        Standard error of `log_ratio`; inf where there was not enough light.
    """

    first: int
    second: int
    log_ratio: float
    sigma: float


def no_motion() -> Motion:
    """Return the map that leaves every cell where it is."""
    return np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])


def join_motions(first: Motion, then: Motion) -> Motion:
    """Return the map from the last frame to the first of two joined pairs.

    Parameters
    ----------
    first, then : Motion
        Of frames (a, b) and (b, c), each as `find_motion` returns it.

    Returns
    -------
    Motion
        Of frames (a, c).
    """
    return np.asarray(first @ np.vstack([then, [0.0, 0.0, 1.0]]), dtype=np.float64)


def find_motion(
    before: Plane, after: Plane, valid: NDArray[np.bool_], doubt: Plane, start: Motion
) -> Motion:
    """Return the affine map by which `after` shows what `before` showed.

    Parameters
    ----------
    before, after : Plane, (rows, columns)
        Scene-linear cell means, ambient removed.
    valid : bool array, (rows, columns)
        Cells to use.
    doubt : Plane, (rows, columns)
        Light below which a cell tells little; see `compare_levels`.
    start : Motion
        Where to begin. Steps of up to about two cells beyond it are found.

    Returns
    -------
    Motion
        ``ln after(p) = ln before(motion p) + constant``; `start` where there is no light.

    Notes
    -----
    Gauss-Newton steps on the logarithms, in which a change of the lamp is an offset solved
    beside the map, with Tukey's biweight (doi 10.1080/00401706.1974.10489171).
    """
    motion = start.copy()
    x, y = _centred(before)
    for _ in range(_STEPS):
        left, prior, moved, _ = _residual(before, after, valid, doubt, motion)
        if np.count_nonzero(prior > 0.1) < 30:
            return start
        left = left - _weighted_median(left, prior)
        weight = prior * _biweight(left, prior)
        gx, gy = np.gradient(moved, axis=1), np.gradient(moved, axis=0)
        use = weight > 0
        columns = [np.ones_like(x), gx * x, gx * y, gx, gy * x, gy * y, gy]
        design = np.stack([column[use] for column in columns], axis=1)
        normal = design.T @ (design * weight[use][:, None])
        # A ridge far below any real texture keeps a plain picture from dividing by nothing.
        normal += 1e-9 * np.diag(np.maximum(np.diag(normal), 1e-12))
        change = np.linalg.solve(normal, design.T @ (weight[use] * left[use]))
        motion = motion + change[1:].reshape(2, 3)
        if max(abs(change[3]), abs(change[6])) < 1e-4:
            break
    return motion


def compare_levels(
    before: Plane, after: Plane, valid: NDArray[np.bool_], doubt: Plane, motion: Motion
) -> tuple[float, float]:
    """Return ln of the light ratio of two small pictures, and its standard error.

    Parameters
    ----------
    before, after : Plane, (rows, columns)
        Scene-linear cell means, ambient removed.
    valid : bool array, (rows, columns)
        Cells to use.
    doubt : Plane, (rows, columns)
        A cell counts by light**2 / (light**2 + doubt**2): its noise, and what an error of
        the ambient may put into it.
    motion : Motion
        From `find_motion`, or `no_motion`.

    Returns
    -------
    log_ratio, sigma : float
        ln (after / before), and the sandwich standard error over cells; 0 and inf where
        fewer than 30 cells hold light in both.

    Notes
    -----
    Logarithms make the comparison even-handed: exchanging the frames changes the sign and
    nothing else, while a regression of one on the other is pulled to low ratios by noise.
    Cells on steep light, which a small error of the motion changes much, count less by
    1 / (1 + (0.1 |gradient of ln| / 0.02)**2). Tukey's biweight leaves out a part of the
    picture that changes by itself.
    """
    left, prior, _, mean = _residual(before, after, valid, doubt, motion)
    steep = np.gradient(mean, axis=0) ** 2 + np.gradient(mean, axis=1) ** 2
    prior = prior / (1.0 + steep * (_MISPLACED / _PLAIN_NOISE) ** 2)
    if np.count_nonzero(prior > 0.05) < 30:
        return 0.0, np.inf
    ratio, weight = _weighted_median(left, prior), prior
    for _ in range(10):
        weight = prior * _biweight(left - ratio, prior)
        change = float((weight * (left - ratio)).sum() / weight.sum())
        ratio += change
        if abs(change) < 1e-7:
            break
    sigma = float(np.sqrt(((weight * (left - ratio)) ** 2).sum()) / weight.sum())
    return ratio, max(sigma, 1e-5)


def _centred(plane: Plane) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    rows, columns = plane.shape
    y, x = np.mgrid[0:rows, 0:columns].astype(np.float64)
    return x - (columns - 1) / 2, y - (rows - 1) / 2


def _residual(
    before: Plane, after: Plane, valid: NDArray[np.bool_], doubt: Plane, motion: Motion
) -> tuple[NDArray[np.float64], ...]:
    """Return ln after - ln before moved, each cell's weight, ln before moved, and mean ln."""
    x, y = _centred(before)
    at_x = motion[0, 0] * x + motion[0, 1] * y + motion[0, 2]
    at_y = motion[1, 0] * x + motion[1, 1] * y + motion[1, 2]
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
    """Return `plane` at x, y (cells about its middle), bilinear, and which places are inside."""
    rows, columns = plane.shape
    column, row = x + (columns - 1) / 2, y + (rows - 1) / 2
    inside = (column >= 0) & (column <= columns - 1) & (row >= 0) & (row <= rows - 1)
    column, row = np.clip(column, 0, columns - 1), np.clip(row, 0, rows - 1)
    c = np.minimum(column.astype(np.intp), max(columns - 2, 0))
    r = np.minimum(row.astype(np.intp), max(rows - 2, 0))
    c1, r1 = np.minimum(c + 1, columns - 1), np.minimum(r + 1, rows - 1)
    u, v = column - c, row - r
    top = plane[r, c] * (1 - u) + plane[r, c1] * u
    low = plane[r1, c] * (1 - u) + plane[r1, c1] * u
    return top * (1 - v) + low * v, inside


def _biweight(left: NDArray[np.float64], prior: NDArray[np.float64]) -> NDArray[np.float64]:
    # 1.4826 turns a median deviation into sigma for normal errors.
    scale = 1.4826 * _weighted_median(np.abs(left), prior)
    z = left / max(_TUKEY * scale, 1e-9)
    return np.where(np.abs(z) < 1, (1 - z**2) ** 2, 0.0)


def _weighted_median(values: NDArray[np.float64], weights: NDArray[np.float64]) -> float:
    order = np.argsort(values, axis=None)
    total = np.cumsum(weights.ravel()[order])
    place = int(np.searchsorted(total, 0.5 * total[-1]))
    return float(values.ravel()[order[min(place, order.size - 1)]])
