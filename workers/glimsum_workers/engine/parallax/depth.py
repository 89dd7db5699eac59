"""How near each place is, from how far it moves along the camera's way in the frames beside."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.codes import Plane
from glimsum_workers.engine.parallax.matching import Match, match_pair
from glimsum_workers.engine.parallax.reading import (
    as_plane32,
    middle_of_nine,
    pixel_grid,
    smooth,
)
from glimsum_workers.engine.parallax.travel import Travel, travel_vectors, turn_columns
from glimsum_workers.engine.registration.prepared import Level
from glimsum_workers.engine.robust import biweight

Numbers = NDArray[np.float64]

_RADIUS = 3
_TURNS = 3
_STIFFNESS = 2.0
_ROUNDS = 4


@dataclass(frozen=True)
class Beside:
    """What the camera did between a frame and one beside it.

    Attributes
    ----------
    turn : float64 array, (5,)
        Pixels of the full size, for the columns of `turn_columns`.
    way : float
        How far it travelled: pixels that a nearness of 1 is displaced by, of either sign.
    """

    turn: Numbers
    way: float


def places_of(level: Level, size: tuple[int, int]) -> Numbers:
    """Return x, y of a level's pixels from the picture's centre over its half diagonal."""
    columns, rows = pixel_grid(level.band.shape)
    centre = np.array([size[1] / 2, size[0] / 2])
    points = (np.stack([columns, rows], axis=-1) + 0.5) * level.factor - centre
    return np.asarray(points / (np.hypot(*size) / 2), dtype=np.float64)


def fit_beside(
    places: Numbers, moved: Numbers, weights: Numbers, nearness: Numbers, travel: Travel
) -> Beside:
    """Fit what the camera did between two frames, the nearness of places known.

    Parameters
    ----------
    places : float64 array, (n, 2)
    moved : float64 array, (n, 2)
        Pixels of the full size.
    weights, nearness : float64 array, (n,)
    travel : Travel

    Returns
    -------
    Beside
        By least squares, outliers let go by Tukey's biweight.
    """
    way = nearness[:, None] * travel_vectors(places, travel.bearing, travel.forward)
    columns = np.concatenate([turn_columns(places), way[..., None]], axis=-1)
    robust, found = np.ones(len(places)), np.zeros(6)
    for _ in range(_ROUNDS):
        weighted = columns * (weights * robust)[:, None, None]
        matrix = np.einsum("nik,nil->kl", columns, weighted)
        matrix += 1e-9 * np.trace(matrix) * np.eye(6)
        found = np.linalg.solve(matrix, np.einsum("nik,ni->k", weighted, moved))
        off = np.linalg.norm(moved - columns @ found, axis=1)
        robust = biweight(off, 1.2 * float(np.median(off)) + 1e-3)
    return Beside(found[:5], float(found[5]))


def refine_nearness(
    still: Level,
    beside: Sequence[tuple[Level, Beside]],
    start: Plane,
    travel: Travel,
    size: tuple[int, int],
) -> Plane:
    """Bring the nearness of every pixel to where the frames beside want it.

    Parameters
    ----------
    still : Level
    beside : sequence of Level and Beside
        The same level of the frames beside, and what the camera did up to them.
    start : Plane, (height, width)
        Within about a pixel of displacement, on this level.
    travel : Travel
    size : tuple of int
        (height, width) of the full picture, pixels.

    Returns
    -------
    Plane, (height, width)
        In windows of 13 pixels, pulled towards their neighbourhood the more the less they know.
    """
    places = places_of(still, size)
    columns = turn_columns(places)
    vectors = travel_vectors(places, travel.bearing, travel.forward)
    pairs = [_Pair.of(still, other, columns, vectors, moved) for other, moved in beside]
    lengths = [pair.along_x**2 + pair.along_y**2 for pair in pairs]
    # Where the camera flies to nothing moves: there the neighbourhood alone says how near it is.
    stiff = np.float32(_STIFFNESS * sum(float(each.mean()) for each in lengths))
    most = 1 / np.sqrt(np.maximum(np.max(lengths, axis=0), 0.1 * np.mean(lengths)))
    nearness = start
    for _ in range(_TURNS):
        score, information = np.zeros_like(nearness), np.zeros_like(nearness)
        for pair in pairs:
            one, other = pair.told(nearness)
            score += one
            information += other
        around = smooth(as_plane32(information * nearness), 2 * _RADIUS)
        around /= smooth(information, 2 * _RADIUS) + np.float32(1e-6)
        change = (score + stiff * (around - nearness)) / (information + stiff)
        nearness = middle_of_nine(as_plane32(nearness + np.clip(change, -most, most)))
    return nearness


@dataclass(frozen=True)
class _Pair:
    """A frame and one beside it: what turning does, and the way of a place whose nearness is 1."""

    match: Match
    turned: tuple[Plane, Plane]
    along_x: Plane
    along_y: Plane

    @classmethod
    def of(
        cls, still: Level, other: Level, columns: Numbers, vectors: Numbers, moved: Beside
    ) -> Self:
        turned = columns @ moved.turn / still.factor
        along = vectors * moved.way / still.factor
        x, y = (as_plane32(turned[..., axis]) for axis in (0, 1))
        across, down = (as_plane32(along[..., axis]) for axis in (0, 1))
        return cls(match_pair(still, other), (x, y), across, down)

    def told(self, nearness: Plane) -> tuple[Plane, Plane]:
        """Return the slope of the likelihood by nearness in windows, and its curvature."""
        across = self.turned[0] + nearness * self.along_x
        down = self.turned[1] + nearness * self.along_y
        found = self.match.at(as_plane32(across), as_plane32(down))
        slope = as_plane32(found.slope_x * self.along_x + found.slope_y * self.along_y)
        weighted = as_plane32(found.weight * slope)
        score = smooth(as_plane32(-weighted * found.left), _RADIUS)
        return score, smooth(as_plane32(weighted * slope), _RADIUS)
