"""Means that a minority of wrong values can't move: Tukey's biweight and weighted medians."""

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]

_TUKEY = 4.685
"""Biweight limit in sigmas: 95 % efficient on normal errors (value from memory)."""


def biweight(residuals: Values, sigma: Values | float) -> Values:
    """Return Tukey's weight of each residual: 1 at 0, and 0 from 4.685 sigma.

    Parameters
    ----------
    residuals : float64 array
    sigma : float64 array or float
        Standard deviation, broadcast against `residuals`.

    Returns
    -------
    float64 array, 0..1

    References
    ----------
    Beaton & Tukey 1974, doi 10.1080/00401706.1974.10489171.
    """
    z = residuals / np.maximum(_TUKEY * np.asarray(sigma), 1e-9)
    return np.where(np.abs(z) < 1, (1 - z**2) ** 2, 0.0)


def weighted_median(values: Values, weights: Values) -> float:
    """Return the value at which half of the weight is reached."""
    order = np.argsort(values, axis=None)
    total = np.cumsum(weights.ravel()[order])
    place = int(np.searchsorted(total, 0.5 * total[-1]))
    return float(values.ravel()[order[min(place, order.size - 1)]])


def weighted_sigma(residuals: Values, weights: Values) -> float:
    """Return sigma from the weighted median deviation (times 1.4826, exact for normal errors)."""
    return 1.4826 * weighted_median(np.abs(residuals), weights)


def robust_mean(values: Values, weights: Values) -> tuple[float, float]:
    """Return the biweight mean of weighted values, and its sandwich standard error.

    Parameters
    ----------
    values, weights : float64 array
        Same shape; weights above 0.

    Returns
    -------
    mean : float
        Biweight mean.
    sigma : float
        At least 1e-5.
    """
    mean, weight = weighted_median(values, weights), weights
    for _ in range(10):
        left = values - mean
        weight = weights * biweight(left, weighted_sigma(left, weights))
        change = float((weight * left).sum() / weight.sum())
        mean += change
        if abs(change) < 1e-7:
            break
    sigma = float(np.sqrt(((weight * (values - mean)) ** 2).sum()) / weight.sum())
    return mean, max(sigma, 1e-5)
