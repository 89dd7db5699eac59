"""A matte blurred by a Gaussian."""

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.codes import Plane

_TRUNCATE = 4.0
"""Standard deviations the kernel reaches to."""


def soften(weight: Plane, sigma_px: float) -> Plane:
    """Return a matte blurred by a Gaussian.

    Parameters
    ----------
    weight : Plane
        0..1.
    sigma_px : float
        Standard deviation, pixels; 0 or more. Below about 0.3 the samples of a Gaussian are no
        longer one: 0.2 moves 4e-6 of the light of a pixel.

    Returns
    -------
    Plane
        0..1; the weights at the border are repeated outside. A separable kernel of sampled
        values that reaches to 4 standard deviations, by products of spectra: within 1e-6 of
        the sum.
    """
    if sigma_px <= 0:
        return weight
    reach = int(_TRUNCATE * sigma_px + 0.5)
    if reach == 0:
        return weight
    taps = np.exp(-0.5 * np.square(np.arange(-reach, reach + 1) / sigma_px))
    taps /= taps.sum()
    down = _along_rows(weight.T, taps).T
    return np.asarray(np.clip(_along_rows(down, taps), 0, 1), dtype=np.float32)


def _along_rows(plane: Plane, taps: NDArray[np.float64]) -> Plane:
    reach, width = taps.size // 2, plane.shape[1]
    length = _quick_length(width + 2 * reach)
    spectrum = np.fft.rfft(taps, length)[None, :]
    made = np.empty(plane.shape, dtype=np.float32)
    # A band of rows at a time keeps the spectra small.
    for top in range(0, plane.shape[0], 64):
        rows = np.pad(plane[top : top + 64].astype(np.float64), ((0, 0), (reach, reach)), "edge")
        summed = np.fft.irfft(np.fft.rfft(rows, length, axis=1) * spectrum, length, axis=1)
        made[top : top + 64] = summed[:, 2 * reach : 2 * reach + width]
    return made


def _quick_length(least: int) -> int:
    """Return the next length that is a product of 2, 3 and 5."""
    length = least
    while True:
        rest = length
        for prime in (2, 3, 5):
            while rest % prime == 0:
                rest //= prime
        if rest == 1:
            return length
        length += 1
