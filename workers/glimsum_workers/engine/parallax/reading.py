"""Pictures read between their samples, smoothed and differentiated: what a dense search needs."""

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.codes import Plane
from glimsum_workers.engine.metrics import box_mean


def as_plane32(values: NDArray[np.floating]) -> Plane:
    """Return values as float32; no copy where they are."""
    return np.asarray(values, dtype=np.float32)


def pixel_grid(shape: tuple[int, ...]) -> tuple[Plane, Plane]:
    """Return column and row of every sample, counted from 0: float32 (height, width) each."""
    rows, columns = np.mgrid[: shape[0], : shape[1]].astype(np.float32)
    return columns, rows


def read_at(plane: Plane, across: Plane, down: Plane) -> Plane:
    """Read a picture at places of any kind.

    Parameters
    ----------
    plane : Plane, (height, width)
    across, down : Plane, (rows, columns)
        Column and row, 0 is the first sample; beyond the picture its edge repeats.

    Returns
    -------
    Plane, (rows, columns)
        By the cubic through four samples each way: exact for squares, at 0.2 cycles a pixel 3 %
        off at worst.

    References
    ----------
    Keys 1981, doi 10.1109/TASSP.1981.1163711 (a = -1/2).
    """
    height, width = plane.shape
    across, down = np.clip(across, 0, width - 1), np.clip(down, 0, height - 1)
    left, top = np.floor(across).astype(np.intp), np.floor(down).astype(np.intp)
    right, below = _cubic(across - left), _cubic(down - top)
    padded = np.pad(plane, ((1, 2), (1, 2)), mode="edge")
    flat, stride = padded.ravel(), padded.shape[1]
    start = top * stride + left
    total, line = np.zeros(start.shape, np.float32), np.empty(start.shape, np.float32)
    for row in range(4):
        line[...] = 0
        for column in range(4):
            line += right[column] * flat[start + (row * stride + column)]
        total += below[row] * line
    return total


def _cubic(fraction: NDArray[np.floating]) -> list[Plane]:
    """Return the weights of the samples -1, 0, 1 and 2."""
    t = fraction.astype(np.float32)
    squared = t * t
    cubed = squared * t
    weights = (
        squared - (cubed + t) / 2,
        1 + 1.5 * cubed - 2.5 * squared,
        2 * squared + (t - 3 * cubed) / 2,
        (cubed - squared) / 2,
    )
    return [np.asarray(each, dtype=np.float32) for each in weights]


def smooth(plane: Plane, radius: int) -> Plane:
    """Return the mean over a window twice: a tent of 4 * radius + 1 pixels, edges repeated."""
    return box_mean(box_mean(plane, radius), radius)


def slopes(plane: Plane) -> tuple[Plane, Plane]:
    """Return the derivatives along x and y by differences over five samples; 0 at the edges."""
    across, down = np.zeros_like(plane), np.zeros_like(plane)
    near = plane[:, 3:-1] - plane[:, 1:-3]
    across[:, 2:-2] = (8 * near - (plane[:, 4:] - plane[:, :-4])) / 12
    near = plane[3:-1] - plane[1:-3]
    down[2:-2] = (8 * near - (plane[4:] - plane[:-4])) / 12
    return across, down


def middle_of_nine(plane: Plane) -> Plane:
    """Return the median of each pixel and its eight neighbours, edges repeated."""
    height, width = plane.shape
    padded = np.pad(plane, 1, mode="edge")
    near = [padded[y : y + height, x : x + width] for y in range(3) for x in range(3)]
    return np.asarray(np.partition(np.stack(near), 4, axis=0)[4], dtype=np.float32)
