"""Textured planes under known homographies, drawn with splines that the engine does not use.

SciPy's B-spline of degree 3 (Thevenaz, Blu and Unser 2000, doi 10.1109/42.875199) reads a smooth
texture; light, not codes; noise of a stated size on top.
"""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, map_coordinates

Floats = NDArray[np.float64]
HEIGHT, WIDTH = 200, 260
BOARD = np.array([[90.0, 70.0], [170.0, 72.0], [168.0, 120.0], [92.0, 118.0]])
"""Corners of a patch in the middle of the first frame."""


def texture(seed: int = 1, grain_px: float = 1.6) -> Floats:
    """Return a smooth random picture of light about 0.4, (HEIGHT, WIDTH)."""
    noise = np.random.default_rng(seed).normal(size=(HEIGHT, WIDTH))
    smooth = gaussian_filter(noise, grain_px)
    return np.asarray(0.4 + 0.12 * smooth / smooth.std(), dtype=np.float64)


def through(picture: Floats, matrix: Floats) -> NDArray[np.float32]:
    """Return a picture seen after its points (x, y, 1) were moved by a homography."""
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH] + 0.5
    back = np.linalg.inv(matrix)
    u, v, w = np.tensordot(back, np.stack([x, y, np.ones_like(x)]), axes=1)
    seen = map_coordinates(picture, [v / w - 0.5, u / w - 0.5], order=3, mode="reflect")
    return np.asarray(seen, dtype=np.float32)


def moves(count: int) -> dict[int, Floats]:
    """Return homographies from frame 0: a drift, a turn, growth and a slow tilt, not even."""
    made = {}
    for frame in range(count):
        angle, scale = 0.004 * frame, 1 + 0.006 * frame
        cos, sin = scale * np.cos(angle), scale * np.sin(angle)
        shift = np.array([2.3 * frame + 0.4 * np.sin(2.0 * frame), -0.9 * frame])
        centre = np.array([130.0, 95.0])
        turn = np.array([[cos, -sin], [sin, cos]])
        matrix = np.eye(3)
        matrix[:2, :2] = turn
        matrix[:2, 2] = centre + shift - turn @ centre
        tilt = np.eye(3)
        tilt[2, 0] = 2e-5 * frame
        tilt[2, 2] = 1 - tilt[2, 0] * centre[0]
        whole = matrix @ tilt
        made[frame] = whole / whole[2, 2]
    return made


def film(
    picture: Floats, matrices: Mapping[int, Floats], noise: float = 0.002, seed: int = 5
) -> dict[int, NDArray[np.float32]]:
    """Return what each frame shows, with noise of a standard deviation."""
    rng = np.random.default_rng(seed)
    return {
        frame: through(picture, matrix) + rng.normal(0, noise, (HEIGHT, WIDTH)).astype(np.float32)
        for frame, matrix in matrices.items()
    }
