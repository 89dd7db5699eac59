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
_FARTHEST = 4.0
"""Standard deviations by which a pixel of a window may differ from its mean."""
_UNLIKE = 0.75
"""Standard deviations of one pixel by which the mean of a window may differ from what lies
round it: nearly four of its own, for noise that is not the same in neighbours."""
_AROUND_PX = 12.0
"""Standard deviation of the Gaussian that says what lies round a window."""
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
    sigma = 1.4826 * float(np.median(spread[near])) * float(np.sqrt(25 / 24))
    told = near.astype(np.float32)
    share = np.maximum(soften(told, _AROUND_PX), 1e-6)
    # Softening holds to 0..1, so both signs are softened as weights about a half.
    moved = np.asarray(told * (off + np.float32(0.5)), dtype=np.float32)
    about = soften(moved, _AROUND_PX) / share - np.float32(0.5)
    even = near & (_largest(spread) <= _FARTHEST * sigma)
    alike = (np.abs(mean - about) <= _UNLIKE * sigma) & (np.abs(about) <= _OFF * sigma)
    return np.asarray(even & alike, dtype=np.bool_)


def _largest(plane: Plane) -> Plane:
    padded = np.pad(plane, _REACH, mode="edge")
    rows = np.maximum.reduce([padded[n : n + plane.shape[0]] for n in range(2 * _REACH + 1)])
    steps = [rows[:, n : n + plane.shape[1]] for n in range(2 * _REACH + 1)]
    return np.asarray(np.maximum.reduce(steps), dtype=np.float32)


def _mean(plane: Plane) -> Plane:
    size = 2 * _REACH + 1
    padded = np.pad(plane, _REACH, mode="edge")
    rows = np.add.reduce([padded[n : n + plane.shape[0]] for n in range(size)])
    total = np.add.reduce([rows[:, n : n + plane.shape[1]] for n in range(size)])
    return np.asarray(total / np.float32(size * size), dtype=np.float32)
