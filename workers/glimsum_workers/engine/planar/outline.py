"""Which places of a picture belong to a patch: its outline and a margin about it."""

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.planar.homography import Points

_SIDES = 24


def ring_about(x: float, y: float, radius_px: float) -> Points:
    """Return the outline of a round patch: 24 points at `radius_px` from its middle."""
    angles = 2 * np.pi * np.arange(_SIDES) / _SIDES
    return np.stack([x + radius_px * np.cos(angles), y + radius_px * np.sin(angles)], axis=1)


def inside_outline(places: Points, outline: Points, margin_px: float) -> NDArray[np.bool_]:
    """Return which places lie in a polygon or within a margin of its edges.

    Parameters
    ----------
    places : Points, (n, 2)
    outline : Points, (m, 2)
        At least 3 corners in order, either way about; sides may cross (even-odd rule).
    margin_px : float
        0 or more.

    Returns
    -------
    bool array, (n,)
    """
    inside = np.zeros(len(places), dtype=np.bool_)
    nearest = np.full(len(places), np.inf)
    x, y = places.T
    for start, end in zip(outline, np.roll(outline, -1, axis=0), strict=True):
        side = end - start
        across, down = x - start[0], y - start[1]
        crosses = (start[1] > y) != (end[1] > y)
        with np.errstate(divide="ignore", invalid="ignore"):
            inside ^= crosses & (across < side[0] * down / side[1])
        length = max(float(side @ side), 1e-12)
        along = np.clip((across * side[0] + down * side[1]) / length, 0, 1)
        away = (across - along * side[0]) ** 2 + (down - along * side[1]) ** 2
        np.minimum(nearest, away, out=nearest)
    return inside | (nearest <= margin_px**2)
