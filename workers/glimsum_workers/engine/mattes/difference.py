"""Where a picture differs from a clean plate by more than noise and light explain."""

import numpy as np

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.codes import Image, Plane
from glimsum_workers.engine.mattes.luminance import ramp

_BINS = 16
_MAD = 1.4826
"""Median deviation to standard deviation of normal noise."""
_KERNEL_NORM = 6.0
"""Root of the sum of squares of the 3 x 3 kernel [1 -2 1] x [1 -2 1]."""
_ENOUGH = 500_000
"""Pixels that say enough of noise."""
_MOST = 2.0
"""Noise that neighbours share is at most so many times what the kernel sees of it."""
_LEAST = 1e-5
"""Share of the largest light below which no noise is believed."""


def matte_from_difference(
    rgb: Image, plate: Image, *, low: float, high: float, tolerance: float
) -> Plane:
    """Return a matte of where a picture differs from a clean plate.

    Parameters
    ----------
    rgb, plate : Image
        The same set in the same light, in the same place; scene-linear, same primaries.
    low, high : float
        Differences between which the weight rises from 0 to 1, in standard deviations: root
        mean square over R, G and B.
    tolerance : float
        Standard deviation of what the light of the set may differ by, as a share of it.

    Returns
    -------
    Plane
        0..1. Of normal noise, 6 pixels of a million reach 3 standard deviations.

    Raises
    ------
    LightError
        If sizes differ.

    Notes
    -----
    The noise is read from the difference itself, a channel at a time, in 16 steps of the
    plate's light: the median deviation from 0, held between once and twice what a second
    difference sees, so that something large and even that came into the set is not taken for
    noise. Edges that are not quite in place are, as far as the tolerance allows, no difference.

    References
    ----------
    Immerkaer 1996, Fast noise variance estimation, doi 10.1006/cviu.1996.0060 (the kernel).
    """
    if rgb.shape != plate.shape:
        raise LightError(
            "The clean plate has another size than the pass",
            seen=f"{plate.shape[1]} x {plate.shape[0]} pixels",
            expected=f"{rgb.shape[1]} x {rgb.shape[0]} pixels",
            remedy="Shoot both with one camera mode.",
        )
    total = np.zeros(rgb.shape[:2], dtype=np.float32)
    for channel in range(3):
        one, two = rgb[..., channel], plate[..., channel]
        off = one - two
        variance = np.square(_noise(off, two)) + np.square((one + two) * np.float32(tolerance / 2))
        total += np.square(off) / variance
    return ramp(np.sqrt(total / np.float32(3)), low, high)


def _noise(off: Plane, light: Plane) -> Plane:
    """Return the standard deviation of a difference by the light it stands on."""
    across = off[:, :-2] - 2 * off[:, 1:-1] + off[:, 2:]
    rest = np.zeros_like(off)
    rest[1:-1, 1:-1] = (across[:-2] - 2 * across[1:-1] + across[2:]) / np.float32(_KERNEL_NORM)
    every = max(int(np.sqrt(off.size / _ENOUGH)), 1)
    inner = (slice(1, -1, every), slice(1, -1, every))
    order = np.argsort(light[inner], axis=None)
    sorted_by_light = [plane[inner].ravel()[order] for plane in (light, rest, off)]
    levels, sigmas = [], []
    least = _LEAST * max(float(np.abs(light).max()), 1e-12)
    for seen, sharp, whole in zip(
        *(np.array_split(p, _BINS) for p in sorted_by_light), strict=True
    ):
        if seen.size:
            kernel = max(_MAD * float(np.median(np.abs(sharp))), least)
            direct = _MAD * float(np.median(np.abs(whole)))
            levels.append(float(np.median(seen)))
            sigmas.append(min(max(direct, kernel), _MOST * kernel))
    if not levels:
        return np.full_like(off, np.inf)
    return np.interp(light, levels, sigmas).astype(np.float32)
