"""Noise at the ends of a matte: what is nothing but noise about 0 or 1 becomes 0 or 1."""

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.codes import Plane
from glimsum_workers.engine.mattes.soften import soften

_REACH = 2
"""Pixels to each side that must agree: a window of 5 x 5."""
_ROOM = 0.15
"""How far from its end a window may stray to tell of the noise there."""
_FEWEST = 1000
"""Pixels of such windows below which the noise of an end is not known."""
_ENOUGH = 500_000
"""Pixels that say enough of noise."""
_FARTHEST = 4.0
"""Standard deviations by which a pixel of a window may differ from its mean."""
_UNLIKE = 0.75
"""Standard deviations of one pixel by which the mean of a window may differ from what lies
round it: nearly four of its own, for noise that is not the same in neighbours."""
_AROUND_PX = 12.0
"""Standard deviation of the Gaussian that says what lies round a window."""
_BLOCK = 4
_BAND = 32
_OFF = 2.0
"""Standard deviations by which what lies round a window may miss the end."""


def clean_ends(raw: Plane) -> Plane:
    """Return weights without the noise about 0 and 1.

    Parameters
    ----------
    raw : Plane, (height, width)
        Weights as computed, noise outside 0..1 included.

    Returns
    -------
    Plane
        0..1. A pixel becomes 0 where its 5 x 5 window is even (no pixel 4 standard deviations
        of the noise off its mean) and like what lies round it (their means differ by less than
        0.75), and that is near 0 (by 2: a backing is never known better); likewise 1.
        Everything else is clamped and otherwise left as it is: an edge, a thread, a speck or a
        faint band is none of these, so that partial coverage is not moved. Wide even coverage
        of less than twice the noise of one pixel is lost. Where fewer than 1000 pixels tell the
        noise of an end, that end is only clamped.
    """
    weight = np.clip(raw, 0, 1)
    for end in (np.float32(0), np.float32(1)):
        weight[_is_nothing_but_noise(raw - end)] = end
    return weight


def _is_nothing_but_noise(off: Plane) -> NDArray[np.bool_]:
    near = _largest(np.abs(off)) < _ROOM
    if np.count_nonzero(near) < _FEWEST:
        return np.zeros(off.shape, dtype=np.bool_)
    mean = _mean(off)
    spread = np.abs(off - mean)
    # Median deviation to sigma, and back what the mean of 25 took away (normal noise).
    every = max(int(np.sqrt(off.size / _ENOUGH)), 1)
    told = spread[::every, ::every][near[::every, ::every]]
    sigma = 1.4826 * float(np.median(told if told.size else spread[near])) * float(np.sqrt(25 / 24))
    about = _about(off, near)
    even = near & (_largest(spread) <= _FARTHEST * sigma)
    alike = (np.abs(mean - about) <= _UNLIKE * sigma) & (np.abs(about) <= _OFF * sigma)
    return np.asarray(even & alike, dtype=np.bool_)


def _about(off: Plane, near: NDArray[np.bool_]) -> Plane:
    """Return the smooth mean of what is near an end; told by blocks of 4 x 4 pixels."""
    told = _block_means(near.astype(np.float32))
    # Softening holds to 0..1, so both signs are softened as weights about a half.
    moved = _block_means(np.asarray(near * (off + np.float32(0.5)), dtype=np.float32))
    share = np.maximum(soften(told, _AROUND_PX / _BLOCK), 1e-6)
    about = soften(moved, _AROUND_PX / _BLOCK) / share - np.float32(0.5)
    wide = about.astype(np.float32).repeat(_BLOCK, axis=0).repeat(_BLOCK, axis=1)
    return wide[: off.shape[0], : off.shape[1]]


def _block_means(plane: Plane) -> Plane:
    height, width = (-(-size // _BLOCK) * _BLOCK for size in plane.shape)
    padded = np.pad(plane, ((0, height - plane.shape[0]), (0, width - plane.shape[1])), mode="edge")
    blocks = padded.reshape(height // _BLOCK, _BLOCK, width // _BLOCK, _BLOCK)
    return np.asarray(blocks.mean(axis=(1, 3)), dtype=np.float32)


def _largest(plane: Plane) -> Plane:
    return _windows(plane, np.maximum)


def _mean(plane: Plane) -> Plane:
    return _windows(plane, np.add) / np.float32((2 * _REACH + 1) ** 2)


def _windows(plane: Plane, joined: np.ufunc) -> Plane:
    """Return the windows of all pixels, joined; a band of rows at a time stays in the cache."""
    size, (height, width) = 2 * _REACH + 1, plane.shape
    padded, made = np.pad(plane, _REACH, mode="edge"), np.empty_like(plane)
    for top in range(0, height, _BAND):
        band = padded[top : top + _BAND + 2 * _REACH]
        count = band.shape[0] - 2 * _REACH
        rows = joined.reduce([band[n : n + count] for n in range(size)])
        made[top : top + count] = joined.reduce([rows[:, n : n + width] for n in range(size)])
    return made
