"""Where the pixels of an element land in the reference picture: one 3 x 3 matrix."""

from dataclasses import dataclass
from math import cos, radians, sin

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.errors import LightError

Matrix = NDArray[np.float64]
"""A homography of points (x, y, 1): float64, (3, 3); pixel centres at 0.5, y down."""


def placing_matrix(
    x: float, y: float, scale: float, rotation_deg: float, pivot: tuple[float, float]
) -> Matrix:
    """Return the matrix that lays an element's pivot on a point.

    Parameters
    ----------
    x, y : float
        Where the pivot lands, pixels of the reference picture.
    scale : float
        Pixels of the reference picture that a pixel of the element is wide.
    rotation_deg : float
        About the pivot, degrees, positive from x to y (clockwise on screen).
    pivot : tuple of float
        In pixels of the element.

    Returns
    -------
    Matrix
        Takes points of the element to points of the reference picture.
    """
    across, up = scale * cos(radians(rotation_deg)), scale * sin(radians(rotation_deg))
    left, top = pivot
    return np.array(
        [
            [across, -up, x - across * left + up * top],
            [up, across, y - up * left - across * top],
            [0.0, 0.0, 1.0],
        ]
    )


def is_shift(matrix: Matrix) -> bool:
    """Return whether a homography neither turns nor scales."""
    still = np.eye(3)
    still[:2, 2] = matrix[:2, 2]
    return bool(np.array_equal(matrix, still))


@dataclass(frozen=True)
class Scales:
    """How a homography changes sizes over the part that is seen.

    Attributes
    ----------
    stretch : float
        Most pixels of the element that one of the result is wide, in any direction.
    affine : bool
        Whether it is the same everywhere.
    """

    stretch: float
    affine: bool


def map_places(matrix: Matrix, x: Matrix, y: Matrix) -> tuple[Matrix, Matrix]:
    """Return where a homography takes points; those beyond its horizon go far off.

    Parameters
    ----------
    matrix : Matrix
    x, y : float64 arrays
        Of shapes that go together.

    Returns
    -------
    tuple of float64 array
        x and y.
    """
    (a, b, c), (d, e, f), (g, h, i) = matrix.tolist()
    if (g, h, i) == (0.0, 0.0, 1.0):
        return a * x + b * y + c, d * x + e * y + f
    depth = np.maximum(g * x + h * y + i, 1e-9)
    return (a * x + b * y + c) / depth, (d * x + e * y + f) / depth


def jacobians(matrix: Matrix, x: Matrix, y: Matrix) -> Matrix:
    """Return how a homography stretches about points.

    Parameters
    ----------
    matrix : Matrix
    x, y : float64 array, (n,)
        Points it takes somewhere.

    Returns
    -------
    float64 array, (n, 2, 2)
        Rows x, y of the result; columns x, y of the source.
    """
    to_x, to_y = map_places(matrix, x, y)
    depth = np.maximum(matrix[2, 0] * x + matrix[2, 1] * y + matrix[2, 2], 1e-9)
    rows = [
        [(matrix[row, column] - to * matrix[2, column]) / depth for column in range(2)]
        for row, to in enumerate((to_x, to_y))
    ]
    return np.moveaxis(np.asarray(rows, np.float64), 2, 0)


def corners_of(matrix: Matrix, size: tuple[int, int]) -> Matrix:
    """Return the corners of an element's rectangle in the reference picture.

    Parameters
    ----------
    matrix : Matrix
        From the element to the reference picture.
    size : tuple of int
        (height, width) of the element, pixels.

    Returns
    -------
    float64 array, (4, 2)
        Top left, top right, bottom right, bottom left; x then y.

    Raises
    ------
    LightError
        The matrix is not finite, folds or mirrors the element, or takes a corner behind the
        camera.
    """
    height, width = size
    x, y = np.array([0.0, width, width, 0.0]), np.array([0.0, 0.0, height, height])
    sound = bool(np.all(np.isfinite(matrix)))
    if sound:
        depth = matrix[2, 0] * x + matrix[2, 1] * y + matrix[2, 2]
        sound = depth.min() > 1e-6 and float(np.linalg.det(matrix)) > 0
    if not sound:
        raise LightError(
            "the place of an element can't be: it is not finite, mirrored, or behind the camera",
            seen=str(np.round(matrix, 6).tolist()),
            expected="a matrix that keeps the element's four corners before the camera",
            remedy="Look at what the element follows, or place it by hand.",
        )
    return np.stack(map_places(matrix, x, y), axis=1)


def scales_of(matrix: Matrix, size: tuple[int, int], seen: tuple[int, int, int, int]) -> Scales:
    """Return how much an element is made smaller where it is seen.

    Parameters
    ----------
    matrix : Matrix
        From the element to the reference picture.
    size : tuple of int
        (height, width) of the element.
    seen : tuple of int
        top, bottom, left, right of the part of the reference picture that is looked at.

    Returns
    -------
    Scales
        Of a homography the most over 9 x 9 points of the element that land in that part.
    """
    steps = np.linspace(0.0, 1.0, 9)
    x, y = (each.ravel() for each in np.meshgrid(steps * size[1], steps * size[0]))
    affine = bool(np.array_equal(matrix[2], [0.0, 0.0, 1.0]))
    if not affine:
        to_x, to_y = map_places(matrix, x, y)
        top, bottom, left, right = seen
        inside = (to_x >= left) & (to_x <= right) & (to_y >= top) & (to_y <= bottom)
        if inside.any():
            x, y = x[inside], y[inside]
    narrowest = np.linalg.svd(jacobians(matrix, x, y), compute_uv=False)[:, 1]
    return Scales(float(1 / max(float(narrowest.min()), 1e-6)), affine)
