"""Which way the camera travelled, from how the places of a picture moved."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.robust import biweight

Numbers = NDArray[np.float64]

_ROUNDS = 4
_FINEST = 1e-3
"""Radians."""
_LEAST_SCATTER_PX = 1e-3


@dataclass(frozen=True)
class Travel:
    """A camera's way between two frames, as a picture shows it.

    Attributes
    ----------
    bearing, forward : float
        Radians: the direction in the picture plane, from x to y, 0 to pi; and how far the way
        leaves that plane towards what is seen, -pi / 2 to pi / 2. Which of two opposite ways it
        was is left open.
    turn : float64 array, (5,)
        What the camera's turning alone does: pixels, for the columns of `turn_columns`.
    scatter_px : float
        Deviation across the direction of travel, where turning alone moves anything: how wrong
        the displacements are.
    """

    bearing: float
    forward: float
    turn: Numbers
    scatter_px: float


def turn_columns(places: Numbers) -> Numbers:
    """Return what turning a camera does to places, whatever their distance.

    Parameters
    ----------
    places : float64 array, (..., 2)
        x, y from the picture's centre over its half diagonal.

    Returns
    -------
    float64 array, (..., 2, 5)
        dx, dy for a pixel each of: right, down, rotation, and the two that lean the picture as a
        camera does that looks aside (x x, x y and x y, y y). These last two are tied to the first
        ones by the focal length; it isn't known, so they are free.

    References
    ----------
    Longuet-Higgins & Prazdny 1980, doi 10.1098/rspb.1980.0057.
    """
    x, y = places[..., 0], places[..., 1]
    one, none = np.ones_like(x), np.zeros_like(x)
    columns = ((one, none), (none, one), (-y, x), (x * x, x * y), (x * y, y * y))
    return np.stack([np.stack(each, axis=-1) for each in columns], axis=-1)


def travel_vectors(places: Numbers, bearing: float, forward: float) -> Numbers:
    """Return how a camera's way displaces places, each times its own nearness.

    Parameters
    ----------
    places : float64 array, (..., 2)
        As for `turn_columns`.
    bearing, forward : float
        As in `Travel`.

    Returns
    -------
    float64 array, (..., 2)
        Parallel for a sideways move, from or to one point where the camera comes nearer.
    """
    aside = np.cos(forward) * np.array([np.cos(bearing), np.sin(bearing)])
    return np.asarray(aside - np.sin(forward) * places, dtype=np.float64)


def find_travel(places: Numbers, moved: Numbers, weights: Numbers) -> Travel:
    """Find the way of a camera from the displacements of places.

    Parameters
    ----------
    places : float64 array, (n, 2)
        As for `turn_columns`; some hundred, all over the picture.
    moved : float64 array, (n, 2)
        dx, dy, pixels.
    weights : float64 array, (n,)
        Above 0; how well each is known.

    Returns
    -------
    Travel
        That for which the parts of the displacements across its vectors are explained best by
        turning alone. Where the camera only turned, any way explains them alike: compare what is
        left along the vectors with `scatter_px`.

    Notes
    -----
    For each direction the turn is a linear least squares, outliers let go by Tukey's biweight;
    directions are searched on a grid, then ever nearer to the best.
    """
    columns = turn_columns(places)
    robust, step = np.ones(len(places)), np.pi / 14
    tried = [
        (bearing, forward)
        for bearing in np.linspace(0, np.pi, 14, endpoint=False)
        for forward in np.linspace(-np.pi / 2, np.pi / 2, 15)
    ]
    turn, scatter = np.zeros(5), np.inf
    best = tried[0]
    for _ in range(_ROUNDS):
        fit = _Fit(places, columns, moved, weights * robust)
        best = _descend(fit, min(tried, key=fit.cost), step)
        turn, left, _ = fit.across(*best)
        scatter = max(1.4826 * float(np.median(np.abs(left))), _LEAST_SCATTER_PX)
        robust, step, tried = biweight(left, scatter), 0.05, [best]
    # The same way, named alike every time: bearing in 0 .. pi.
    turns = np.floor(best[0] / np.pi)
    forward = best[1] if turns % 2 == 0 else -best[1]
    return Travel(float(best[0] - turns * np.pi), float(forward), turn, scatter)


def _descend(fit: "_Fit", start: tuple[float, float], step: float) -> tuple[float, float]:
    best = start
    while step > _FINEST:
        near = [(best[0] + x * step, best[1] + y * step) for x in (-1, 0, 1) for y in (-1, 0, 1)]
        found = min(near, key=fit.cost)
        if found == best:
            step /= 2
        best = found
    return best


@dataclass(frozen=True)
class _Fit:
    """Displacements to be explained."""

    places: Numbers
    columns: Numbers
    moved: Numbers
    weights: Numbers

    def across(self, bearing: float, forward: float) -> tuple[Numbers, Numbers, float]:
        """Return the turn, what it leaves across the vectors, and its weighted mean square."""
        vectors = travel_vectors(self.places, bearing, forward)
        length = np.hypot(vectors[:, 0], vectors[:, 1]) + 1e-3
        sideways = np.stack([-vectors[:, 1], vectors[:, 0]], axis=-1) / length[:, None]
        # Where the camera flies to, its vectors have no direction to be off from.
        weights = self.weights * np.minimum(length, 1) ** 2
        known = np.einsum("nik,ni->kn", self.columns, sideways)
        wanted = np.sum(self.moved * sideways, axis=1)
        matrix = (known * weights) @ known.T
        matrix += 1e-9 * np.trace(matrix) * np.eye(len(matrix))
        turn = np.linalg.solve(matrix, (known * weights) @ wanted)
        left = wanted - turn @ known
        return turn, left, float(np.sum(weights * left**2) / max(weights.sum(), 1e-12))

    def cost(self, way: tuple[float, float]) -> float:
        """Return the weighted mean square of what is left."""
        return self.across(*way)[2]
