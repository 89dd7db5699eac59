"""Pictures at half sizes, and the band of detail that registration looks at."""

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.codes import Plane

Mask = NDArray[np.bool_]

BAND_NOISE = 0.1205
"""Variance that noise of variance 1 keeps in `pass_band` (sum of squares of its kernel)."""

_WIDE_REACH = 8
_STRIP = 96


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


def pass_band(plane: Plane, valid: Mask | None = None) -> Plane:
    """Keep detail of about 3 to 15 pixels.

    Parameters
    ----------
    plane : Plane, (height, width)
        Anything; edges are repeated outside.
    valid : bool array, (height, width), optional
        Pixels that are to have no influence are False; the answer is 0 there.

    Returns
    -------
    Plane
        The mean with (1, 2, 1) / 4 less the mean with three boxes of 4 and one of 8 pixels (near
        Gaussians of sigma 0.71 and 3), both in rows and columns. A constant gives 0.
    """
    if valid is None or valid.all():
        return _difference(plane)
    weight = valid.astype(np.float32)
    # Masked pixels take the mean of the valid ones about them, so that no edge is left there.
    around = _wide(np.where(valid, plane, 0).astype(np.float32))
    share = _wide(weight)
    filled = np.where(valid, plane, around / np.maximum(share, np.float32(1e-3)))
    return np.asarray(_difference(filled.astype(np.float32)) * weight, dtype=np.float32)


def _difference(plane: Plane) -> Plane:
    return _narrow(plane) - _wide(plane)


def _narrow(plane: Plane) -> Plane:
    padded = np.pad(plane, 1, mode="edge")
    tall: Plane = padded[:-2] + padded[2:]
    tall += 2 * padded[1:-1]
    wide: Plane = tall[:, :-2] + tall[:, 2:]
    wide += 2 * tall[:, 1:-1]
    wide *= np.float32(1 / 16)
    return wide


def _wide(plane: Plane) -> Plane:
    height, width = plane.shape
    padded = np.pad(plane, _WIDE_REACH + 1, mode="edge")
    result = np.empty((height, width), dtype=np.float32)
    # In strips, so that the sums stay in the processor's cache.
    for top in range(0, height, _STRIP):
        rows = padded[top : top + _STRIP + 2 * _WIDE_REACH + 2]
        rows = _box_cascade(rows, 0)
        rows = _box_cascade(rows, 1)
        count = min(_STRIP, height - top)
        result[top : top + count] = rows[:count, :width] * np.float32(1 / 512**2)
    return result


def _box_cascade(plane: Plane, axis: int) -> Plane:
    """Sum boxes of 8, 4, 4 and 4 pixels: 17 taps centred, the first one at padding 1."""

    def add(values: Plane, step: int) -> Plane:
        near, far = [slice(None)] * 2, [slice(None)] * 2
        near[axis], far[axis] = slice(None, -step), slice(step, None)
        return values[tuple(near)] + values[tuple(far)]

    values = plane
    for _ in range(4):
        values = add(add(values, 1), 2)
    values = add(values, 4)
    start = [slice(None)] * 2
    start[axis] = slice(1, None)
    return values[tuple(start)]
