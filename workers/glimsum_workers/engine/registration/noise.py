"""The noise of a picture, read from it, and light rescaled so that its noise is alike all over."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.codes import Plane

_BLOCK = 8
_KERNEL_NORM = 6.0
"""Root of the sum of squares of the 3 x 3 kernel [1 -2 1] x [1 -2 1]."""
_QUANTILE = 0.15
_ENOUGH_PIXELS = 250_000


@dataclass(frozen=True)
class Noise:
    """Variance of the light of a pixel: ``read**2 + gain * max(light, 0)``.

    Attributes
    ----------
    gain : float
        Light of one electron: the slope of variance over mean. Above 0.
    read : float
        Standard deviation at black, in light. Above 0.
    """

    gain: float
    read: float


def estimate_noise(light: Plane, valid: NDArray[np.bool_] | None = None) -> Noise:
    """Estimate the noise of a picture from its smoothest blocks.

    Parameters
    ----------
    light : Plane, (height, width)
        Scene-linear, finite.
    valid : bool array, (height, width), optional
        False where the picture is clipped; such blocks are not looked at.

    Returns
    -------
    Noise
        From the residual of a 3 x 3 second difference in blocks of 8 x 8 pixels, the 15 % quantile
        in each of up to 16 steps of brightness. Texture in every block makes it too
        high, coding that smoothed the noise away too low; a factor of 4 either way costs little
        in registration, and low is the harmless side.

    References
    ----------
    Immerkaer 1996, Fast noise variance estimation, doi 10.1006/cviu.1996.0060 (the kernel).
    """
    top = float(np.percentile(light[::4, ::4], 99.9))
    top = top if top > 0 else float(np.abs(light).max()) or 1.0
    floor = Noise(gain=top * 1e-5, read=top * 1e-4)
    means, variances = _block_noise(light, valid)
    if means.size < 16:
        return floor
    order = np.argsort(means)
    steps = np.array_split(order, int(min(16, means.size // 8)))
    level = np.array([max(float(np.median(means[step])), 0.0) for step in steps])
    lowest = np.array([float(np.quantile(variances[step], _QUANTILE)) for step in steps])
    dark, bright = slice(0, max(len(steps) // 5, 1)), level > 0.25 * level.max()
    gain, read2 = floor.gain, max(float(np.median(lowest[dark])), floor.read**2)
    # The darkest steps of a bright picture hold shot noise too, which the slope takes off again.
    for _ in range(3 if level.max() > 0 else 0):
        slope = float(np.median((lowest[bright] - read2) / level[bright]))
        gain = max(slope, floor.gain)
        rest = float(np.median(lowest[dark] - gain * level[dark]))
        read2 = max(rest, floor.read**2)
    return Noise(gain=gain, read=float(np.sqrt(read2)))


def _block_noise(
    light: Plane, valid: NDArray[np.bool_] | None
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return mean and noise variance of the blocks that hold no clipped pixel."""
    # A quarter million pixels say enough; whole slabs of rows keep the sums quick.
    every = _BLOCK * max(light.size // _ENOUGH_PIXELS, 1)
    columns = (light.shape[1] - 2) // _BLOCK
    means, variances = [], []
    for top in range(0, light.shape[0] - _BLOCK - 1, every):
        slab = light[top : top + _BLOCK + 2, : columns * _BLOCK + 2]
        across = slab[:, :-2] - 2 * slab[:, 1:-1] + slab[:, 2:]
        rest = across[:-2] - 2 * across[1:-1] + across[2:]
        level = slab[1:-1, 1:-1].mean(axis=0).reshape(columns, _BLOCK).mean(axis=1)
        power = np.square(rest).mean(axis=0).reshape(columns, _BLOCK).mean(axis=1)
        whole: NDArray[np.bool_] = np.ones(columns, dtype=np.bool_)
        if valid is not None:
            usable = valid[top + 1 : top + 1 + _BLOCK, 1 : 1 + columns * _BLOCK]
            whole = np.asarray(usable.reshape(_BLOCK, columns, _BLOCK).all(axis=(0, 2)))
        means.append(level[whole].astype(np.float64))
        variances.append(power[whole].astype(np.float64) / _KERNEL_NORM**2)
    return np.concatenate(means), np.concatenate(variances)


def stabilise(light: Plane, noise: Noise) -> Plane:
    """Return the light on a scale on which its noise has a standard deviation of about 1.

    Parameters
    ----------
    light : Plane, (height, width)
        Scene-linear.
    noise : Noise

    Returns
    -------
    Plane
        ``2 sqrt(e + 3/8 + r**2)``, e and r the light and the read noise in electrons; 0 where the
        root would be of a negative number.

    References
    ----------
    Anscombe 1948, doi 10.1093/biomet/35.3-4.246; with read noise: Murtagh, Starck & Bijaoui 1995
    (both from memory).
    """
    scale, offset = _to_electrons(noise)
    electrons = light * scale
    electrons += offset
    np.maximum(electrons, 0, out=electrons)
    np.sqrt(electrons, out=electrons)
    electrons *= 2
    return electrons


def stabilise_halved(light: Plane, noise: Noise) -> Plane:
    """Return what `bands.halve` makes of the light that `stabilise` returns, in one walk.

    Parameters
    ----------
    light : Plane, (height, width)
        Scene-linear.
    noise : Noise

    Returns
    -------
    Plane, (height // 2, width // 2)
        The same to 1e-6, but where light cancels what the root adds to it: that is rounded once
        here.
    """
    from glimsum_workers.engine.compiled.steady import steady_half  # noqa: PLC0415  # costs 0.5 s

    half: Plane = np.empty((light.shape[0] // 2, light.shape[1] // 2), dtype=np.float32)
    steady_half(np.ascontiguousarray(light, dtype=np.float32), *_to_electrons(noise), half)
    return half


def _to_electrons(noise: Noise) -> tuple[np.float32, np.float32]:
    """Return what light is multiplied by, and what is added, below the root."""
    read = noise.read / noise.gain
    return np.float32(1 / noise.gain), np.float32(0.375 + read**2)
