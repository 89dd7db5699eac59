"""Maps of the plane as 3 x 3 matrices: carrying points, and fitting a map to points."""

from typing import Literal

import numpy as np
from numpy.typing import NDArray

Matrix = NDArray[np.float64]
"""A homography: float64, (3, 3), for columns (x, y, 1); its last number is 1."""

Points = NDArray[np.float64]
"""Places in a picture: float64, (n, 2), x then y, pixels; pixel centres at 0.5."""

PlaneModel = Literal["shift", "similarity", "affine", "homography"]
"""How freely a patch may move: 2, 4, 6 or 8 numbers."""

FREEDOMS: dict[PlaneModel, int] = {"shift": 2, "similarity": 4, "affine": 6, "homography": 8}


def carry(matrix: Matrix, points: Points) -> Points:
    """Return where a homography takes points, (n, 2), exact to float64 rounding."""
    moved = points @ matrix[:, :2].T + matrix[:, 2]
    return np.asarray(moved[:, :2] / moved[:, 2:], dtype=np.float64)


def normed(matrix: Matrix) -> Matrix:
    """Return the same homography with 1 as its last number."""
    return np.asarray(matrix / matrix[2, 2], dtype=np.float64)


def inverse(matrix: Matrix) -> Matrix:
    """Return the homography that undoes this one."""
    return normed(np.asarray(np.linalg.inv(matrix), dtype=np.float64))


def freest_model(points: int) -> PlaneModel:
    """Return the freest map that so many points fix."""
    models: tuple[PlaneModel, ...] = ("shift", "similarity", "affine", "homography")
    return models[min(max(points, 1), 4) - 1]


def map_through(source: Points, target: Points, model: PlaneModel | None = None) -> Matrix:
    """Return the map of a model that takes points to points, by least squares.

    Parameters
    ----------
    source, target : Points, (n, 2)
        At least as many as the model needs: 1, 2, 3 or 4; of four for a homography no three on a
        line.
    model : PlaneModel, optional
        Default: the freest that the points fix (`freest_model`).

    Returns
    -------
    Matrix
        Through the points exactly where their number is what the model needs. The error that a
        homography makes least for more points is the algebraic one of normalised points, which
        for points within a tenth of a pixel is the distance to about 1 %.

    References
    ----------
    Hartley & Zisserman 2004, Multiple View Geometry, 4.4.4 (normalisation; from memory).
    """
    model = freest_model(len(source)) if model is None else model
    to_unit = unit_frame(source)
    near, far = carry(to_unit, source), carry(to_unit, target)
    basis = _columns(near, far)[:, :, : FREEDOMS[model]]
    rows = basis.reshape(-1, basis.shape[2])
    change = np.asarray(np.linalg.lstsq(rows, (far - near).ravel(), rcond=None)[0], np.float64)
    return from_unit(step_matrix(change), to_unit)


def unit_frame(points: Points) -> Matrix:
    """Return the map that takes points to their middle at 0 and their longer half side at 1."""
    middle = (points.min(axis=0) + points.max(axis=0)) / 2
    reach = max(float(np.ptp(points, axis=0).max()) / 2, 1.0)
    return np.array([[1 / reach, 0, -middle[0] / reach], [0, 1 / reach, -middle[1] / reach],
                     [0, 0, 1]])  # fmt: skip


def from_unit(matrix: Matrix, to_unit: Matrix) -> Matrix:
    """Return a map of the unit frame as a map of pixels."""
    return normed(np.asarray(np.linalg.solve(to_unit, matrix @ to_unit), dtype=np.float64))


def step_matrix(change: NDArray[np.float64]) -> Matrix:
    """Return the homography of up to 8 small numbers (see `step_basis`), in the unit frame."""
    d = np.zeros(8)
    d[: len(change)] = change
    return np.array(
        [
            [1 + d[2] + d[4], d[5] - d[3], d[0]],
            [d[5] + d[3], 1 + d[2] - d[4], d[1]],
            [-d[6], -d[7], 1],
        ]
    )


def step_basis(places: Points) -> NDArray[np.float64]:
    """Return how places of the unit frame move with each number of `step_matrix`.

    Parameters
    ----------
    places : Points, (n, 2)

    Returns
    -------
    float64 array, (n, 2, 8)
        Shift along x and y, growth, turning, stretch along x and y, stretch along the diagonals,
        and the two tilts: a model with fewer numbers takes the first ones.
    """
    return _columns(places, places)


def _columns(near: Points, far: Points) -> NDArray[np.float64]:
    """Return the equations far = step_matrix(d) near: exact in d, (n, 2, 8)."""
    (x, y), (u, v), one = near.T, far.T, np.ones(len(near))
    none = np.zeros_like(one)
    across = [one, none, x, -y, x, y, u * x, u * y]
    down = [none, one, y, x, -y, x, v * x, v * y]
    return np.stack([np.stack(across, axis=1), np.stack(down, axis=1)], axis=1)
