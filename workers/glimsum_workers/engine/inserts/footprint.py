"""How much of an inserted picture a pixel of the shot looks at, from where it is laid."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.planar.homography import Matrix, Points, inverse, map_through

MOST_SAMPLES = 48
"""Samples a pixel along one direction, at most."""


@dataclass(frozen=True)
class Laid:
    """An inserted picture as it lies in the shot.

    Attributes
    ----------
    corners : Points, (4, 2)
        Top left, top right, bottom right, bottom left of the picture, in the shot.
    to_picture : Matrix
        From pixels of the shot to pixels of the picture.
    """

    corners: Points
    to_picture: Matrix

    def places(
        self, x: NDArray[np.float64], y: NDArray[np.float64]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return the places in the picture that places of the shot show."""
        (a, b, c), (d, e, f), (g, h, i) = self.to_picture
        depth = g * x + h * y + i
        return (a * x + b * y + c) / depth, (d * x + e * y + f) / depth

    def stretch(
        self, x: NDArray[np.float64], y: NDArray[np.float64]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return how many pixels of the picture one of the shot is wide and tall, at places."""
        (a, b, _), (d, e, _), (g, h, i) = self.to_picture
        u, v = self.places(x, y)
        depth = g * x + h * y + i
        wide = np.hypot(a - u * g, d - v * g) / np.abs(depth)
        return wide, np.hypot(b - u * h, e - v * h) / np.abs(depth)


def lay_corners(corners: Points, size: tuple[int, int]) -> Laid:
    """Return how a picture lies in the shot whose corners are marked there.

    Parameters
    ----------
    corners : Points, (4, 2)
        Top left, top right, bottom right, bottom left of the picture, in pixels of the shot,
        pixel centres at 0.5. They may lie outside it; either way about (a mirrored picture).
    size : tuple of int
        (height, width) of the picture, pixels.

    Returns
    -------
    Laid

    Raises
    ------
    LightError
        The corners don't make a four-sided figure without a dent: two sides cross, three corners
        lie on a line, or all lie within a pixel.
    """
    height, width = size
    sides = np.roll(corners, -1, axis=0) - corners
    following = np.roll(sides, -1, axis=0)
    turns = sides[:, 0] * following[:, 1] - sides[:, 1] * following[:, 0]
    lengths = np.hypot(*sides.T) * np.hypot(*following.T)
    if not np.isfinite(corners).all() or not (
        (turns > 1e-3 * lengths).all() or (turns < -1e-3 * lengths).all()
    ):
        shown = ", ".join(f"({x:.1f}, {y:.1f})" for x, y in corners)
        raise LightError(
            "The corners of an insert make no surface that is seen from the front",
            seen=shown,
            expected="top left, top right, bottom right, bottom left of the picture, no three on "
            "a line and no side crossing another",
            remedy="Mark the corners in that order.",
        )
    own = np.array([[0, 0], [width, 0], [width, height], [0, height]], dtype=np.float64)
    matrix = map_through(own, corners, "homography")
    return Laid(corners, inverse(matrix))
