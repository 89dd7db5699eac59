"""A picture softened by a Gaussian."""

from math import ceil

import numpy as np
from numpy.typing import NDArray

_REACH = 4.0


def reach_of(sigma_px: float) -> int:
    """Return how many pixels about a pixel a Gaussian reads: 4 sigma, to 6e-5 of its weight."""
    return ceil(_REACH * sigma_px)


def soften(channels: NDArray[np.float32], sigma_px: float) -> NDArray[np.float32]:
    """Return a picture softened by a Gaussian.

    Parameters
    ----------
    channels : float32 array, (height, width, channels)
        Linear; larger than the result by `reach_of` on every side.
    sigma_px : float
        Standard deviation, pixels; 0 changes nothing.

    Returns
    -------
    float32 array, (height - 2 * reach, width - 2 * reach, channels)
        Weights are samples of the Gaussian out to 4 sigma, scaled to the sum 1. By Fourier
        transform in float64: exact to float32 rounding, but for 1e-15 of the brightest sample.
    """
    reach = reach_of(sigma_px)
    if reach == 0:
        return channels
    step = np.arange(-reach, reach + 1)
    weights = np.exp(-0.5 * (step / sigma_px) ** 2)
    weights /= weights.sum()
    result = np.empty(
        (channels.shape[0] - 2 * reach, channels.shape[1] - 2 * reach, channels.shape[2]),
        np.float32,
    )
    for channel in range(channels.shape[2]):
        plane = _along_rows(channels[..., channel].astype(np.float64), weights, reach)
        result[..., channel] = _along_rows(plane.T, weights, reach).T
    return result


def _along_rows(
    plane: NDArray[np.float64], weights: NDArray[np.float64], reach: int
) -> NDArray[np.float64]:
    count = plane.shape[1]
    fast = 1 << (count - 1).bit_length() if count < 64 else -(-count // 64) * 64
    ring = np.zeros(fast)
    ring[np.arange(-reach, reach + 1) % fast] = weights
    told = np.fft.rfft(plane, fast, axis=1) * np.fft.rfft(ring).real
    softened: NDArray[np.float64] = np.fft.irfft(told, fast, axis=1)[:, reach : count - reach]
    return softened
