"""Pictures at half sizes, and the band of detail that registration looks at."""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.codes import Plane

Mask = NDArray[np.bool_]

BAND_NOISE = 0.1205
"""Variance that noise of variance 1 keeps in `pass_band` (sum of squares of its kernel)."""

_WIDE_REACH = 8
_STRIP = 48


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
    return np.asarray(_difference(_fill(plane, valid)) * valid, dtype=np.float32)


def _fill(plane: Plane, valid: Mask) -> Plane:
    """Give masked pixels the mean of the valid ones about them, so that no edge is left there."""
    filled: Plane = plane.copy()
    light = _pad(np.where(valid, plane, np.float32(0)))
    weight = _pad(valid.astype(np.float32))
    for rows, here in _strips(plane.shape[0]):
        masked = ~valid[here]
        if masked.any():
            share = np.maximum(_wide(weight[rows], plane.shape), np.float32(1e-3))
            filled[here][masked] = (_wide(light[rows], plane.shape) / share)[masked]
    return filled


def _difference(plane: Plane) -> Plane:
    padded, result = _pad(plane), np.empty(plane.shape, dtype=np.float32)
    for rows, here in _strips(plane.shape[0]):
        strip = padded[rows]
        np.subtract(_narrow(strip), _wide(strip, plane.shape), out=result[here])
    return result


def _pad(plane: Plane) -> Plane:
    return np.pad(plane, _WIDE_REACH + 1, mode="edge")


def _strips(height: int) -> Iterator[tuple[slice, slice]]:
    """Give rows of the padded plane, and what they make: sums stay in the processor's cache."""
    for top in range(0, height, _STRIP):
        bottom = min(top + _STRIP, height)
        yield slice(top, bottom + 2 * _WIDE_REACH + 2), slice(top, bottom)


def _narrow(strip: Plane) -> Plane:
    padded = strip[_WIDE_REACH:-_WIDE_REACH, _WIDE_REACH:-_WIDE_REACH]
    tall: Plane = padded[:-2] + padded[2:]
    tall += 2 * padded[1:-1]
    wide: Plane = tall[:, :-2] + tall[:, 2:]
    wide += 2 * tall[:, 1:-1]
    wide *= np.float32(1 / 16)
    return wide


def _wide(strip: Plane, size: tuple[int, ...]) -> Plane:
    rows = _box_cascade(_box_cascade(strip, 0), 1)[: len(strip) - 2 * _WIDE_REACH - 2, : size[1]]
    return np.asarray(rows * np.float32(1 / 512**2), dtype=np.float32)


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
