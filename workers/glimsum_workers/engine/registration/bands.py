"""Pictures at half sizes, and the band of detail that registration looks at."""

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.codes import Plane

Mask = NDArray[np.bool_]

_EVERYWHERE: Mask = np.ones((0, 0), dtype=np.bool_)


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
    result: Plane = np.empty(plane.shape, dtype=np.float32)
    _pass(plane, valid, band, result, np.empty((0, 0), dtype=np.int16))
    return result


def pass_halves(
    plane: Plane, valid: Mask | None = None, band: Band = GENERAL
) -> NDArray[np.float16]:
    """Keep the detail of a band as `pass_band` does, as halves.

    Parameters
    ----------
    plane : Plane, (height, width)
    valid : bool array, (height, width), optional
    band : Band
        As in `pass_band`.

    Returns
    -------
    float16 array, (height, width)
        Rounded to the nearest, within 60000 either way; 0 for what is no number.
    """
    result = np.empty(plane.shape, dtype=np.int16)
    _pass(plane, valid, band, np.empty((0, 0), dtype=np.float32), result)
    return result.view(np.float16)


def _pass(
    plane: Plane, valid: Mask | None, band: Band, result: Plane, halves: NDArray[np.int16]
) -> None:
    """Put what `pass_band` tells into that of the two that has a size."""
    from glimsum_workers.engine.compiled.band_passes import (  # noqa: PLC0415  # costs 0.5 s
        fill_masked,
        pass_plane,
    )

    whole, taps = np.ascontiguousarray(plane, dtype=np.float32), _half_of_mean(band.last_box)
    if valid is None or valid.all():
        pass_plane(whole, taps, _EVERYWHERE, result, halves)
        return
    # What isn't valid takes the mean of what is about it, so that no edge is left there.
    mask, filled = np.ascontiguousarray(valid), whole.copy()
    fill_masked(whole, taps, mask, filled)
    pass_plane(filled, taps, mask, result, halves)


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
