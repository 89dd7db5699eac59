"""Moving a picture by a known drift, with splines that the engine does not use.

The drift maps a point of the reference picture to where the pass shows it:
``p_pass = c + scale * Rot(rotation) * (p_ref - c) + (dx, dy)``, c the picture's centre, pixel
centres at 0.5, x right, y down, rotation positive from x to y. The interpolation is SciPy's
B-spline (Thévenaz, Blu and Unser, 2000, doi 10.1109/42.875199), exact at the samples.
"""

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates


@dataclass(frozen=True)
class Drift:
    """A shift in pixels, a rotation in degrees and a scale."""

    dx: float
    dy: float
    rotation_deg: float = 0.0
    scale: float = 1.0

    def turn(self) -> NDArray[np.float64]:
        """Return scale * Rot(rotation), 2 x 2, for columns (x, y)."""
        angle = np.deg2rad(self.rotation_deg)
        turn = [[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]]
        return self.scale * np.asarray(turn)

    def back(self) -> Self:
        """Return the drift that undoes this one."""
        dx, dy = -np.linalg.solve(self.turn(), [self.dx, self.dy])
        return type(self)(float(dx), float(dy), -self.rotation_deg, 1.0 / self.scale)

    def apply(self, points: NDArray[np.float64], width: int, height: int) -> NDArray[np.float64]:
        """Map points (..., 2), x then y, of the reference picture into the pass."""
        centre = np.array([width / 2, height / 2])
        moved: NDArray[np.float64] = (points - centre) @ self.turn().T + centre
        moved += np.array([self.dx, self.dy])
        return moved


STILL = Drift(0.0, 0.0)


def move_to_reference(
    image: NDArray[np.float32], drift: Drift, order: int = 5
) -> NDArray[np.float32]:
    """Resample a picture of the pass, (h, w) or (h, w, c), as the reference camera sees it.

    `order` is the degree of the spline, 3 (cubic) or 5 (quintic). Edge pixels repeat outside the
    picture, so a border as wide as the drift is not to be judged.
    """
    return _resample(image, drift, order)


def move_from_reference(
    image: NDArray[np.float32], drift: Drift, order: int = 5
) -> NDArray[np.float32]:
    """Resample a reference picture as the drifted pass sees it (see `move_to_reference`)."""
    return _resample(image, drift.back(), order)


def _resample(image: NDArray[np.float32], drift: Drift, order: int) -> NDArray[np.float32]:
    if drift == STILL:
        return image.copy()
    height, width = image.shape[:2]
    y, x = np.mgrid[0:height, 0:width] + 0.5
    found = drift.apply(np.stack([x, y], axis=-1), width, height) - 0.5
    places = [found[..., 1], found[..., 0]]
    planes = image.reshape(height, width, -1)
    moved = [map_coordinates(planes[..., k], places, order=order, mode="nearest")
             for k in range(planes.shape[2])]  # fmt: skip
    return np.stack(moved, axis=-1).astype(np.float32).reshape(image.shape)
