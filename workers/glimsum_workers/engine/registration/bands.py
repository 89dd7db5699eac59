"""Pictures at half sizes, and the band of detail that registration looks at."""

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.codes import Plane

Mask = NDArray[np.bool_]

_NOWHERE: Mask = np.zeros((0, 0), dtype=np.bool_)


@dataclass(frozen=True)
class Band:
    """Which detail is looked at: how wide the mean is that is taken off each pixel.

    Attributes
    ----------
    last_box : int
        Pixels, 2, 4 or 8: the mean is that of three boxes of 4 and this one, near a
        Gaussian of variance (44 + last_box**2) / 12.
    noise : float
        Variance that noise of variance 1 keeps in `pass_band` (sum of squares of its kernel).
    """

    last_box: int
    noise: float


GENERAL = Band(last_box=8, noise=0.1205)
"""Detail of about 3 to 15 pixels, sigma of the mean 3: for pictures in the same light, for
parallax, and for following patches."""

ACROSS_LIGHTS = Band(last_box=2, noise=0.0949)
"""Detail of about 3 to 10 pixels, sigma of the mean 2: for pictures in different lights. Errors of
side light and fog are a quarter smaller than with `GENERAL`, those of dark passes as large."""


def band_for(*, same_light: bool, parallax: bool = False) -> Band:
    """Return the detail by which two pictures are to be registered.

    Parameters
    ----------
    same_light : bool
        Whether both were lit alike.
    parallax : bool
        Whether their parallax is sought too: with the finer band the harbour's haze was left
        0.109 pixel off instead of 0.093.
    """
    return GENERAL if same_light or parallax else ACROSS_LIGHTS


def halve(plane: Plane) -> Plane:
    """Return sums of 2 x 2 pixels over 2: noise of standard deviation 1 keeps it. Odd edges go."""
    height, width = plane.shape[0] // 2 * 2, plane.shape[1] // 2 * 2
    tall = plane[0:height:2, :width] + plane[1:height:2, :width]
    return np.asarray((tall[:, ::2] + tall[:, 1::2]) * np.float32(0.5), dtype=np.float32)


def halve_mask(valid: Mask) -> Mask:
    """Return True where all of 2 x 2 pixels are."""
    height, width = valid.shape[0] // 2 * 2, valid.shape[1] // 2 * 2
    tall = valid[0:height:2, :width] & valid[1:height:2, :width]
    return np.asarray(tall[:, ::2] & tall[:, 1::2], dtype=np.bool_)


def widen(mask: Mask, reach: int) -> Mask:
    """Return the mask grown by `reach` pixels in rows and columns (a square neighbourhood)."""
    for axis in (0, 1):
        grown = mask.copy()
        for step in range(1, reach + 1):
            near, far = [slice(None)] * 2, [slice(None)] * 2
            near[axis], far[axis] = slice(None, -step), slice(step, None)
            grown[tuple(near)] |= mask[tuple(far)]
            grown[tuple(far)] |= mask[tuple(near)]
        mask = grown
    return mask


def pass_band(plane: Plane, valid: Mask | None = None, band: Band = GENERAL) -> Plane:
    """Keep the detail of a band.

    Parameters
    ----------
    plane : Plane, (height, width)
        Anything; edges are repeated outside.
    valid : bool array, (height, width), optional
        Pixels that are to have no influence are False; the answer is 0 there.
    band : Band
        Which detail.

    Returns
    -------
    Plane
        The mean with (1, 2, 1) / 4 (near a Gaussian of sigma 0.71) less the mean of the band, both
        in rows and columns. A constant gives 0.
    """
    if valid is None or valid.all():
        return _passed(plane, band)
    filled = _passed(_fill(plane, valid, band), band)
    filled *= valid
    return filled


def _fill(plane: Plane, valid: Mask, band: Band) -> Plane:
    """Give masked pixels the mean of the valid ones about them, so that no edge is left there."""
    masked = np.ascontiguousarray(~valid)
    light = _passed(np.where(valid, plane, np.float32(0)), band, masked)
    weight = _passed(valid.astype(np.float32), band, masked)
    filled: Plane = plane.copy()
    filled[masked] = light[masked] / np.maximum(weight[masked], np.float32(1e-3))
    return filled


def _passed(plane: Plane, band: Band, mean_at: Mask = _NOWHERE) -> Plane:
    """Return what a narrow mean shows beside that of the band; where asked for, the latter."""
    from glimsum_workers.engine.compiled.band_passes import pass_plane  # noqa: PLC0415  # costs 0.5 s

    result: Plane = np.empty(plane.shape, dtype=np.float32)
    whole = np.ascontiguousarray(plane, dtype=np.float32)
    pass_plane(whole, _half_of_mean(band.last_box), not mean_at.size, mean_at, result)
    return result


@cache
def _half_of_mean(last_box: int) -> Plane:
    """Return the taps of the mean from the middle one on: boxes of 4, 4, 4 and `last_box`."""
    from glimsum_workers.engine.compiled.band_passes import TAPS  # noqa: PLC0415  # as above

    taps = np.ones(1)
    for box in (4, 4, 4, last_box):
        taps = np.convolve(taps, np.ones(box) / box)
    half = np.zeros(TAPS, dtype=np.float32)
    half[: taps.size // 2 + 1] = taps[taps.size // 2 :]
    return half
