"""A camera that stands between knocks: errors are averaged away, true motion is kept."""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.drift.series import SHIFT, TURN, Series
from glimsum_workers.engine.drift.track import Step

Numbers = NDArray[np.float64]

_MOST_SIGMAS = 3.0


def settle(series: Series, steps: Sequence[Step]) -> Series:
    """Draw frames towards the level they stand at, as far as their own errors explain the rest.

    Parameters
    ----------
    series : Series
        Frames that are not known are left alone.
    steps : sequence of Step
        Knocks; each stretch between two has a level of its own.

    Returns
    -------
    Series
        For each stretch the motion that its frames really have (variance t) is estimated, from
        what their scatter has beyond their sigmas s; a frame keeps the share t / (t + s**2) of
        its distance from the level. Where the camera really moves, t is large and nothing is
        drawn; where it stands, the error of a frame becomes that of the mean. A frame that would be
        drawn by more than 3 of its sigmas is left where it was found.

    References
    ----------
    t by DerSimonian & Laird 1986, doi 10.1016/0197-2456(86)90046-2; the share by Stein's
    principle, Efron & Morris 1975, doi 10.1080/01621459.1975.10479864 (from memory).
    """
    values, sigma = series.values.copy(), series.sigma.copy()
    edges = [-np.inf, *(float(step.frame) for step in steps), np.inf]
    at = np.array(series.frames, dtype=np.float64)
    for first, last in pairwise(edges):
        rows = np.flatnonzero(series.known & (at >= first) & (at < last))
        if len(rows) < 2:
            continue
        for columns in (SHIFT, TURN):
            drawn = _draw(values[rows, columns], sigma[rows, columns])
            values[rows, columns], sigma[rows, columns] = drawn
    return Series(series.frames, values, sigma, series.known)


def _draw(values: Numbers, sigma: Numbers) -> tuple[Numbers, Numbers]:
    true = true_variance(values, sigma**2)
    weight = 1 / (sigma**2 + true)
    level = (weight * values).sum(axis=0) / weight.sum(axis=0)
    kept = true * weight
    drawn = level + kept * (values - level)
    variance = kept * sigma**2 + (1 - kept) ** 2 / weight.sum(axis=0)
    alone = np.abs(drawn - values) > _MOST_SIGMAS * sigma
    return np.where(alone, values, drawn), np.where(alone, sigma, np.sqrt(variance))


def true_variance(values: Numbers, variances: Numbers) -> float:
    """Return the variance among frames that their own variances don't explain, for all columns."""
    weight = 1 / variances
    total = weight.sum(axis=0)
    mean = (weight * values).sum(axis=0) / total
    chi2 = float((weight * (values - mean) ** 2).sum())
    expected = values.shape[1] * (len(values) - 1)
    freedom = float((total - (weight**2).sum(axis=0) / total).sum())
    return float(max((chi2 - expected) / freedom, 0.0))
