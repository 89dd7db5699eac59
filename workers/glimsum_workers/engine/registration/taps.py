"""Weights that read a band-passed picture between its samples, and their slopes."""

import numpy as np
from numpy.typing import NDArray

REACH = 3
"""Samples read to each side of the nearest one."""

PLACES = np.arange(-REACH, REACH + 1)

_DEGREE = 10
_MOMENTS = 3
"""Constant, line and parabola are reproduced exactly."""
_FREQUENCIES = (np.arange(256) + 0.5) / 512


def _spectrum() -> NDArray[np.float64]:
    """Return the expected power at `_FREQUENCIES` of what `bands.pass_band` leaves."""
    narrow = np.cos(np.pi * _FREQUENCIES) ** 2
    wide = np.exp(-2 * (np.pi * 3.0 * _FREQUENCIES) ** 2)
    lens = np.exp(-2 * (np.pi * 0.45 * _FREQUENCIES) ** 2)
    return ((narrow - wide) * lens) ** 2 / _FREQUENCIES + 1e-5


def _fit_taps() -> NDArray[np.float64]:
    """Return polynomial coefficients, (degree + 1, 7), in the fraction, lowest power first.

    Best linear prediction of s(x + d) from s(x - 3 .. x + 3) for the spectrum above, among the
    taps that reproduce straight lines and parabolas: the normal equations hold the autocorrelation
    at whole lags on the left, at lags k - d on the right, and below them the moments. Without the
    moments soft pictures stick to whole pixels, by up to 0.02 px.
    """
    power = _spectrum()

    def correlation(lag: NDArray[np.float64]) -> NDArray[np.float64]:
        angles = 2 * np.pi * lag[..., None] * _FREQUENCIES
        return np.asarray(np.cos(angles) @ power / power.sum(), dtype=np.float64)

    left = correlation(np.subtract.outer(PLACES, PLACES).astype(np.float64))
    fractions = np.cos(np.pi * (np.arange(64) + 0.5) / 64)
    moments = np.vander(PLACES.astype(np.float64), _MOMENTS, increasing=True)
    system = np.block([[left, moments], [moments.T, np.zeros((_MOMENTS, _MOMENTS))]])
    wanted = np.vander(fractions, _MOMENTS, increasing=True).T
    right = np.concatenate([correlation(np.subtract.outer(PLACES, fractions)), wanted])
    taps = np.linalg.solve(system, right)[: len(PLACES)]
    powers = np.vander(fractions, _DEGREE + 1, increasing=True)
    return np.asarray(np.linalg.lstsq(powers, taps.T, rcond=None)[0], dtype=np.float64)


_COEFFICIENTS = _fit_taps()
_SLOPES = _COEFFICIENTS[1:] * np.arange(1, _DEGREE + 1)[:, None]
_CURVES = _SLOPES[1:] * np.arange(1, _DEGREE)[:, None]


def read_between(fractions: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the weights of the samples x - 3 .. x + 3 that give the value at x + fraction.

    Parameters
    ----------
    fractions : float64 array, (n,)
        Pixels, -1 to 1.

    Returns
    -------
    taps : float64 array, (n, 7)
        Linear minimum-mean-square prediction for the band of `bands.pass_band`; a polynomial in
        the fraction, so it has no steps. Ramps are exact; at 0.22 cycles a pixel the error is
        below 1 %.
    slopes : float64 array, (n, 7)
        Their exact derivatives by the fraction.
    """
    powers = np.empty((_DEGREE + 1, fractions.size))
    powers[0] = 1
    for power in range(_DEGREE):
        np.multiply(powers[power], fractions, out=powers[power + 1])
    return (_COEFFICIENTS.T @ powers).T, (_SLOPES.T @ powers[:-1]).T


def curve_between(fractions: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the second derivatives, by the fraction, of the weights of `read_between`.

    Parameters
    ----------
    fractions : float64 array, (n,)
        Pixels, -1 to 1.

    Returns
    -------
    float64 array, (n, 7)
        Parabolas are exact; at 0.22 cycles a pixel the error is below 10 %.
    """
    return np.asarray(np.vander(fractions, len(_CURVES), increasing=True) @ _CURVES)


_, _AT_REST = read_between(np.zeros(1))
SLOPE = _AT_REST[0, REACH + 1 :].astype(np.float32)
"""Derivative at a sample: sum over k = 1..3 of SLOPE[k - 1] * (s(x + k) - s(x - k))."""
