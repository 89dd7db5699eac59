"""A matte of what is bright in a pass."""

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.codes import Image, Plane


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
    weight = ramp(luminance, low, high)
    if until is not None:
        weight -= ramp(luminance, *until)
    return weight


def ramp(values: Plane, low: float, high: float) -> Plane:
    """Return weights that rise evenly from 0 at a low value to 1 at a high one."""
    share = (values - np.float32(low)) / np.float32(high - low)
    return np.asarray(np.clip(share, 0, 1), dtype=np.float32)
