"""Pictures at half sizes, and the band of detail that registration looks at."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.codes import Plane

Mask = NDArray[np.bool_]

_STRIP = 48


@dataclass(frozen=True)
class Band:
    """Which detail is looked at: how wide the mean is that is taken off each pixel.

    Attributes
    ----------
    last_box : int
        Pixels, a power of 2 from 2: the mean is that of three boxes of 4 and this one, near a
        Gaussian of variance (44 + last_box**2) / 12.
    noise : float
        Variance that noise of variance 1 keeps in `pass_band` (sum of squares of its kernel).
    """

    last_box: int
    noise: float

    @property
    def reach(self) -> int:
        """Pixels that the mean reaches each way."""
        return 4 + self.last_box // 2


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
        return _difference(plane, band)
    return np.asarray(_difference(_fill(plane, valid, band), band) * valid, dtype=np.float32)


def _fill(plane: Plane, valid: Mask, band: Band) -> Plane:
    """Give masked pixels the mean of the valid ones about them, so that no edge is left there."""
    filled: Plane = plane.copy()
    light = _pad(np.where(valid, plane, np.float32(0)), band)
    weight = _pad(valid.astype(np.float32), band)
    for rows, here in _strips(plane.shape[0], band):
        masked = ~valid[here]
        if masked.any():
            share = np.maximum(_wide(weight[rows], plane.shape, band), np.float32(1e-3))
            filled[here][masked] = (_wide(light[rows], plane.shape, band) / share)[masked]
    return filled


def _difference(plane: Plane, band: Band) -> Plane:
    padded, result = _pad(plane, band), np.empty(plane.shape, dtype=np.float32)
    for rows, here in _strips(plane.shape[0], band):
        strip = padded[rows]
        np.subtract(_narrow(strip, band), _wide(strip, plane.shape, band), out=result[here])
    return result


def _pad(plane: Plane, band: Band) -> Plane:
    return np.pad(plane, band.reach + 1, mode="edge")


def _strips(height: int, band: Band) -> Iterator[tuple[slice, slice]]:
    """Give rows of the padded plane, and what they make: sums stay in the processor's cache."""
    for top in range(0, height, _STRIP):
        bottom = min(top + _STRIP, height)
        yield slice(top, bottom + 2 * band.reach + 2), slice(top, bottom)


def _narrow(strip: Plane, band: Band) -> Plane:
    inner = slice(band.reach, -band.reach)
    padded = strip[inner, inner]
    tall: Plane = padded[:-2] + padded[2:]
    tall += 2 * padded[1:-1]
    wide: Plane = tall[:, :-2] + tall[:, 2:]
    wide += 2 * tall[:, 1:-1]
    wide *= np.float32(1 / 16)
    return wide


def _wide(strip: Plane, size: tuple[int, ...], band: Band) -> Plane:
    summed = _box_cascade(_box_cascade(strip, 0, band), 1, band)
    rows = summed[: len(strip) - 2 * band.reach - 2, : size[1]]
    return np.asarray(rows * np.float32(1 / (4**3 * band.last_box) ** 2), dtype=np.float32)


def _box_cascade(plane: Plane, axis: int, band: Band) -> Plane:
    """Sum boxes of 4, 4, 4 and the last one's pixels: centred taps, the first at padding 1."""

    def add(values: Plane, step: int) -> Plane:
        near, far = [slice(None)] * 2, [slice(None)] * 2
        near[axis], far[axis] = slice(None, -step), slice(step, None)
        return values[tuple(near)] + values[tuple(far)]

    values = plane
    for _ in range(3):
        values = add(add(values, 1), 2)
    step = 1
    while step < band.last_box:
        values = add(values, step)
        step *= 2
    start = [slice(None)] * 2
    start[axis] = slice(1, None)
    return values[tuple(start)]
