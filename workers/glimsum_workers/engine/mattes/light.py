"""Mattes of light: what is bright in a pass, and where it differs from a clean plate."""

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.codes import Image, Plane
from glimsum_workers.engine.registration.noise import estimate_noise


def matte_from_luminance(
    rgb: Image,
    weights: NDArray[np.float64],
    low: float,
    high: float,
    until: tuple[float, float] | None = None,
) -> Plane:
    """Return a matte of what is bright.

    Parameters
    ----------
    rgb : Image
        Scene-linear.
    weights : float64 array, (3,)
        Of R, G and B in luminance, in the space of `rgb`.
    low, high : float
        Luminances between which the weight rises from 0 to 1, evenly in light: noise does not
        move its mean between the two.
    until : tuple of float, optional
        Luminances between which it falls again from 1 to 0.

    Returns
    -------
    Plane
        0..1.
    """
    luminance = rgb @ weights.astype(np.float32)
    weight = _ramp(luminance, low, high)
    if until is not None:
        weight -= _ramp(luminance, *until)
    return weight


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
        0..1. The noise of each channel of each picture is read from it (`estimate_noise`). Of
        normal noise of that size, 6 pixels of a million reach 3 standard deviations.

    Raises
    ------
    LightError
        If sizes differ.
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
        variance = np.square((one + two) * np.float32(tolerance / 2))
        for each in (one, two):
            noise = estimate_noise(np.ascontiguousarray(each))
            variance += np.float32(noise.gain) * np.maximum(each, 0) + np.float32(noise.read**2)
        total += np.square(one - two) / variance
    return _ramp(np.sqrt(total / np.float32(3)), low, high)


def _ramp(values: Plane, low: float, high: float) -> Plane:
    share = (values - np.float32(low)) / np.float32(high - low)
    return np.asarray(np.clip(share, 0, 1), dtype=np.float32)
