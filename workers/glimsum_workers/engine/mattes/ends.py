"""Noise at the ends of a matte: what is nothing but noise about 0 or 1 becomes 0 or 1."""

import numpy as np

from glimsum_workers.engine.codes import Plane

_REACH = 2
"""Pixels to each side that must agree: a window of 5 x 5."""
_ROOM = 0.15
"""How far from its end a window may stray to tell of the noise there."""
_FEWEST = 1000
"""Pixels of such windows below which the noise of an end is not known."""
_OFF = 2.0
"""Standard deviations of one pixel by which the mean of a window may miss its end: light that
the backing did not give evenly moves it by more than its 25 pixels' noise."""
_FARTHEST = 5.0
"""Standard deviations by which a pixel of a window may differ from its mean; of a million pixels
of normal noise one does."""


def clean_ends(raw: Plane) -> Plane:
    """Return weights without the noise about 0 and 1.

    Parameters
    ----------
    raw : Plane, (height, width)
        Weights as computed, noise outside 0..1 included.

    Returns
    -------
    Plane
        0..1. A pixel becomes 0 where all of its 5 x 5 window lies within 5 standard deviations
        of the window's mean, and that mean within two standard deviations of 0; likewise 1.
        Everything else is clamped and otherwise left as it is: an edge, a thread or a speck
        spreads its window, so that partial coverage is not moved. Even coverage of less than
        twice the noise of one pixel is lost. Where fewer than 1000 pixels tell the noise of an end,
        that end is only clamped.
    """
    weight = np.clip(raw, 0, 1)
    for end in (np.float32(0), np.float32(1)):
        weight[_nothing_but_noise(np.abs(raw - end), raw - end)] = end
    return weight


def _nothing_but_noise(far: Plane, off: Plane) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
    near = _largest(far) < _ROOM
    if np.count_nonzero(near) < _FEWEST:
        return np.zeros(far.shape, dtype=np.bool_)
    mean = _mean(off)
    spread = np.abs(off - mean)
    # Median deviation to sigma, and back what the mean of 25 took away (normal noise).
    sigma = 1.4826 * float(np.median(spread[near])) * float(np.sqrt(25 / 24))
    even = _largest(spread) <= _FARTHEST * sigma
    kept: np.ndarray[tuple[int, ...], np.dtype[np.bool_]] = (
        near & even & (np.abs(mean) <= _OFF * sigma)
    )
    return kept


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
