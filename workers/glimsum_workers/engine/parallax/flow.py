"""How every place of a picture is displaced in the next frame of the same pass."""

from dataclasses import dataclass

import numpy as np

from glimsum_workers.engine.codes import Plane
from glimsum_workers.engine.motion import Motion
from glimsum_workers.engine.parallax.matching import Match, match_pair
from glimsum_workers.engine.parallax.reading import (
    as_plane32,
    middle_of_nine,
    pixel_grid,
    read_at,
    smooth,
)
from glimsum_workers.engine.registration.prepared import Level

_SEARCH_PX = 4
"""Whole pixels of the coarsest level that a place may lie off the common motion."""
_TURNS = 3
_RADIUS = 3
_STIFFNESS = 2.0
"""Pull of the neighbourhood's mean, in units of a window's information (per pixel squared): on the
harbour 0.02 to 2 give 1.6 to 0.8 px rms on 5 px, steadily."""
_FAR_COST = 0.003
"""What a pixel squared off the common motion costs of the likeness, so that blank walls stay."""


@dataclass(frozen=True)
class Flow:
    """A displacement for every pixel of a level.

    Attributes
    ----------
    across, down : Plane, (height, width)
        Pixels of the level.
    information : Plane, (height, width)
        Trace of the information on the displacement, per pixel squared; near 0 where nothing
        tells it.
    """

    across: Plane
    down: Plane
    information: Plane


def find_flow(still: Level, moving: Level, start: Motion, size: tuple[int, int]) -> Flow:
    """Find how every place of a picture is displaced in another one in the same light.

    Parameters
    ----------
    still, moving : Level
        The same level of two prepared pictures, the coarsest one.
    start : Motion
        What most of the picture does; places may be off it by 4 pixels of the level.
    size : tuple of int
        (height, width) of the full picture, pixels.

    Returns
    -------
    Flow
        On the harbour's quarter size 1.2 px rms of the full size where places are off the common
        motion by 5 px rms; 0.3 px at the median.

    Notes
    -----
    Whole pixels by the likeness of windows, then Newton steps on windows that are pulled towards
    their neighbourhood, the less the more they know themselves.

    References
    ----------
    Lucas & Kanade 1981 (the windows); Black & Anandan 1996, doi 10.1006/cviu.1996.0006 (robust
    weights); both from memory.
    """
    match = match_pair(still, moving)
    across, down = _as_shifts(still, start, size)
    across, down = _search(match, across, down)
    information = np.zeros_like(across)
    for _ in range(_TURNS):
        across, down, information = _step(match, across, down)
        across, down = middle_of_nine(across), middle_of_nine(down)
    return Flow(across, down, information)


def _as_shifts(level: Level, motion: Motion, size: tuple[int, int]) -> tuple[Plane, Plane]:
    columns, rows = pixel_grid(level.band.shape)
    points = np.stack([columns.ravel(), rows.ravel()], axis=1).astype(np.float64)
    points = (points + 0.5) * level.factor
    moved = (motion.at(points, size) - points) / level.factor
    across, down = moved.T.reshape(2, *level.band.shape).astype(np.float32)
    return across, down


def _search(match: Match, across: Plane, down: Plane) -> tuple[Plane, Plane]:
    """Return the displacement with the whole step added that makes windows most alike."""
    columns, rows = pixel_grid(match.still.shape)
    height, width = match.still.shape
    reach = _SEARCH_PX
    moved = np.pad(read_at(match.moving, columns + across, rows + down), reach, mode="edge")
    power = np.pad(smooth(moved[reach:-reach, reach:-reach] ** 2, _RADIUS), reach, mode="edge")
    own = smooth(match.still**2, _RADIUS)
    best = np.full((height, width), -np.inf, np.float32)
    right, below = np.zeros_like(best), np.zeros_like(best)
    for y in range(-reach, reach + 1):
        for x in range(-reach, reach + 1):
            here = slice(reach + y, reach + y + height), slice(reach + x, reach + x + width)
            both = smooth(match.still * moved[here], _RADIUS)
            alike = 2 * both / (own + power[here] + 2) - np.float32(_FAR_COST * (x * x + y * y))
            better = alike > best
            best[better] = alike[better]
            right[better], below[better] = x, y
    return across + middle_of_nine(right), down + middle_of_nine(below)


def _step(match: Match, across: Plane, down: Plane) -> tuple[Plane, Plane, Plane]:
    """Return the displacement after one Newton step, and what the windows know of it."""
    found = match.at(across, down)
    weight, slope_x, slope_y, left = found.weight, found.slope_x, found.slope_y, found.left
    xx = smooth(weight * slope_x * slope_x, _RADIUS)
    xy = smooth(weight * slope_x * slope_y, _RADIUS)
    yy = smooth(weight * slope_y * slope_y, _RADIUS)
    information = xx + yy
    share = smooth(information, 2 * _RADIUS) + np.float32(1e-6)
    pull = [smooth(information * each, 2 * _RADIUS) / share - each for each in (across, down)]
    x = -smooth(weight * slope_x * left, _RADIUS) + _STIFFNESS * pull[0]
    y = -smooth(weight * slope_y * left, _RADIUS) + _STIFFNESS * pull[1]
    xx, yy = xx + np.float32(_STIFFNESS), yy + np.float32(_STIFFNESS)
    size = xx * yy - xy * xy
    step_x, step_y = (yy * x - xy * y) / size, (xx * y - xy * x) / size
    across, down = across + as_plane32(step_x).clip(-1, 1), down + as_plane32(step_y).clip(-1, 1)
    return across, down, as_plane32(information)
