"""How far tiles differ beyond their own noise, and what that makes of the answer's certainty."""

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[np.float64]

MEDIAN_CHI2_1 = 0.4549
_STEPS = 28
"""Halvings of the search for a median, once its size is known."""


def middle(values: Numbers) -> float:
    """Return the upper median, 0 for no values."""
    at = values.size // 2
    return float(np.partition(values, at)[at]) if values.size else 0.0


def find_median(values: Numbers) -> float:
    """Return the upper median of numbers of 0 or more, to 1e-7 of it; 0 for no values."""
    from glimsum_workers.engine.compiled.tile_rounds import find_square  # noqa: PLC0415  # costs 0.5 s

    return float(find_square(values, np.zeros(values.size), 1.0, _STEPS))


def find_misfit(off: Numbers, variance: Numbers, robust: Numbers) -> float:
    """Find the deviation that tiles share beyond their own noise.

    Parameters
    ----------
    off : float64 array, (n,)
        Displacement left in each tile along the direction that it knows best.
    variance : float64 array, (n,)
        Its own.
    robust : float64 array, (n,)
        Tiles below 0.01 are left out.

    Returns
    -------
    float
        The number m for which ``off**2 / (variance + m**2)`` has the median of chi squared with one
        degree of freedom; 0 where the noise explains all, or fewer than 8 tiles are left. All
        tiles count: of a share of them another one would be taken whenever a tile is let go, and
        weights would never settle.
    """
    from glimsum_workers.engine.compiled.tile_rounds import find_square  # noqa: PLC0415  # costs 0.5 s

    used = robust > 0.01
    if np.count_nonzero(used) < 8:
        return 0.0
    return float(np.sqrt(find_square(off[used] ** 2, variance[used], MEDIAN_CHI2_1, _STEPS)))


def sandwich(scores: Numbers, matrix: Numbers, groups: NDArray[np.intp]) -> Numbers:
    """Return the covariance of parameters from the spread of groups of tiles.

    Parameters
    ----------
    scores : float64 array, (n, parameters)
        Each tile's weighted residual times its basis.
    matrix : float64 array, (parameters, parameters)
        Of the normal equations.
    groups : int array, (n,)

    Returns
    -------
    float64 array, (parameters, parameters)
        Not below what the noise of the tiles alone gives; infinite where there are not more groups
        than parameters.
    """
    count = matrix.shape[0]
    filled = np.bincount(groups) > 0
    sums = np.stack([np.bincount(groups, weights=scores[:, p]) for p in range(count)], axis=-1)
    sums = sums[filled]
    if len(sums) <= count:
        return np.full((count, count), np.inf)
    back = np.linalg.inv(matrix)
    spread = back @ (sums.T @ sums * (len(sums) / (len(sums) - count))) @ back
    return np.asarray(spread if np.trace(spread) > np.trace(back) else back, dtype=np.float64)
