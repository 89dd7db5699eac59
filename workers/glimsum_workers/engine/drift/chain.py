"""Frames as a chain: what each was measured at, and how far a frame can be from the next."""

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[np.float64]


def solve_chain(
    values: Numbers, variances: Numbers, steps: Numbers, link_variances: Numbers
) -> tuple[Numbers, Numbers]:
    """Solve for the most likely value of every frame of a chain, and its variance.

    Least squares over ``(x[i] - values[i])**2 / variances[i]`` and
    ``(x[i+1] - x[i] - steps[i])**2 / link_variances[i]``: a straight line over a gap whose ends
    are known, the step alone beyond the last known frame, and no smoothing at all where the
    variance of a link is infinite.

    Parameters
    ----------
    values, variances : float64 array, (n, k)
        Measurements; an infinite variance is none. Columns are independent of each other.
    steps, link_variances : float64 array, (n - 1, k)
        Expected difference between neighbours, and its variance, above 0; infinite is no link.
        Every run of linked frames must hold a measurement.

    Returns
    -------
    values : float64 array, (n, k)
        Exact to rounding, in time proportional to n.
    variances : float64 array, (n, k)

    References
    ----------
    Rauch, Tung & Striebel 1965, doi 10.2514/3.3166 (the same estimate, for measured steps).
    """
    weight, link = 1.0 / variances, 1.0 / link_variances
    diagonal = weight.copy()
    diagonal[:-1] += link
    diagonal[1:] += link
    right = weight * values
    right[:-1] -= link * steps
    right[1:] += link * steps
    count = len(values)
    ahead, behind = diagonal.copy(), diagonal.copy()
    for i in range(1, count):
        share = link[i - 1] / ahead[i - 1]
        ahead[i] = diagonal[i] - share * link[i - 1]
        right[i] += share * right[i - 1]
    for i in range(count - 2, -1, -1):
        behind[i] = diagonal[i] - link[i] ** 2 / behind[i + 1]
    solved = right / ahead
    for i in range(count - 2, -1, -1):
        solved[i] += link[i] / ahead[i] * solved[i + 1]
    return solved, 1.0 / (ahead + behind - diagonal)


def fill_gaps(
    values: Numbers,
    variances: Numbers,
    known: NDArray[np.bool_],
    least_step: float,
    *,
    steps: Numbers | None = None,
    step_variances: Numbers | None = None,
) -> tuple[Numbers, Numbers]:
    """Fill frames that were not measured, and leave the others exactly as they are.

    Parameters
    ----------
    values, variances : float64 array, (n, k)
        Looked at where `known`.
    known : bool array, (n,)
        At least one is.
    least_step : float
        How far a frame is from the next at least, one sigma, in the units of `values`.
    steps, step_variances : float64 array, (n - 1, j), optional
        Measured differences between neighbours for the first j columns (infinite variance: none);
        they take the place of the walk where they are surer.

    Returns
    -------
    values : float64 array, (n, k)
        In a gap: a line between its ends. Beyond the first and last known frame: that frame.
    variances : float64 array, (n, k)
        In a gap: of a random walk that is known at both ends; the walk is as restless as the
        known frames are (median of their differences), and at least so that the difference
        between the two ends is no surprise. Beyond the ends it grows with the distance.
    """
    places = np.flatnonzero(known)
    apart = np.diff(places)[:, None].astype(np.float64)
    jumps = np.diff(values[places], axis=0)
    usual = np.full(values.shape[1], least_step)
    if len(jumps):
        usual = np.maximum(usual, 1.4826 * np.median(np.abs(jumps) / np.sqrt(apart), axis=0))
    links = np.full((len(values) - 1, values.shape[1]), np.inf)
    for place, (first, last) in enumerate(pairwise(places)):
        if last - first > 1:
            links[first:last] = np.maximum(usual**2, jumps[place] ** 2 / apart[place])
    links[: places[0]] = links[places[-1] :] = usual**2
    ways = np.zeros_like(links)
    if steps is not None and step_variances is not None:
        columns = slice(0, steps.shape[1])
        surer = np.isfinite(links[:, columns]) & (step_variances < links[:, columns])
        ways[:, columns] = np.where(surer, steps, 0.0)
        links[:, columns] = np.where(surer, step_variances, links[:, columns])
    measured = np.where(known[:, None], variances, np.inf)
    filled, spread = solve_chain(np.where(known[:, None], values, 0.0), measured, ways, links)
    kept = known[:, None]
    return np.where(kept, values, filled), np.where(kept, variances, spread)
