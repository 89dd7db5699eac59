"""A lamp that died in the middle of a pass."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

_DEAD = 0.3
_ALIVE = 0.75
_SUDDEN = 2
"""Frames in which a lamp that dies goes dark; what takes longer is a fade."""
_FEWEST = 3


@dataclass(frozen=True)
class Outage:
    """Frames on which a lamp was out though it burnt before.

    Attributes
    ----------
    first, last : int
        Indices of the first and last dark frame.
    left : float
        Light of them over that before, 0..0.3.
    comes_back : bool
        Whether it burns again afterwards.
    """

    first: int
    last: int
    left: float
    comes_back: bool


def find_outage(light: NDArray[np.float64]) -> Outage | None:
    """Find where a lamp died.

    Parameters
    ----------
    light : float64 array, (frames,)
        Mean light of a pass on each frame, ambient removed, in order.

    Returns
    -------
    Outage or None
        The first fall to less than 0.3 of what it gave, within 2 frames, of a lamp that burns
        from the first frame on for 3 frames at least. A pass that begins in the dark (a flash
        between its cues) is meant to, and a slow fall is a fade: None. The limits are ours; a
        camera that moves from a lit place to a dark one within 2 frames would be mistaken.
    """
    for first in range(_FEWEST, len(light)):
        usual = float(np.median(light[:first]))
        begun = bool((light[:_FEWEST] > _ALIVE * usual).all()) and usual > 0
        if not begun or light[first] >= _DEAD * usual:
            continue
        if max(light[max(0, first - _SUDDEN) : first]) < _ALIVE * usual:
            return None
        dark = np.flatnonzero(light[first:] >= _DEAD * usual)
        last = len(light) - 1 if len(dark) == 0 else first + int(dark[0]) - 1
        left = max(0.0, float(np.median(light[first : last + 1])) / usual)
        return Outage(first, last, left, len(dark) > 0)
    return None
