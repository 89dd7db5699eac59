"""A picture made smaller: every new pixel the mean of the area it covers."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.compiled.kernel import compile_kernel, constant, numba
from glimsum_workers.engine.compiled.tile_rows import Samples

U = np.uintp


def _share_columns(width: int, made: int, lefts: NDArray[np.int64], shares: Samples) -> None:
    """Put the first old column of every new one, and the shares of it and the next, into both."""
    across = width / made
    for column in range(made):
        left, right = column * across, (column + 1) * across
        lefts[column] = min(int(left), width - shares.shape[1])
        for tap in range(shares.shape[1]):
            x = lefts[column] + tap
            covered = max(0.0, min(right, x + 1.0) - max(left, float(x)))
            shares[column, tap] = np.float32(covered / across)


def _average_area(pixels: Samples, made: Samples) -> None:
    """Put the means of `pixels`, (height, width, channels), into `made`."""
    height, width, channels = pixels.shape
    flat = pixels.reshape(height, -1)
    line = np.empty(flat.shape[1], np.float32)
    down = height / made.shape[0]
    taps = min(width, int(np.ceil(width / made.shape[1])) + 1)
    lefts, shares = np.empty(made.shape[1], np.int64), np.empty((made.shape[1], taps), np.float32)
    share_columns(width, made.shape[1], lefts, shares)
    for row in range(made.shape[0]):
        line[:] = 0
        top, bottom = row * down, (row + 1) * down
        for y in range(int(top), min(int(np.ceil(bottom)), height)):
            share = np.float32((min(bottom, y + 1.0) - max(top, float(y))) / down)
            source = flat[y]
            for x in range(line.size):
                line[x] += share * source[x]
        for column in range(made.shape[1]):
            first = U(lefts[column] * channels)
            for channel in range(U(channels)):
                total = np.float32(0)
                for tap in range(U(taps)):
                    total += shares[column, tap] * line[first + tap * U(channels) + channel]
                made[row, column, channel] = total


share_columns: Any = compile_kernel(_share_columns)
average_area: Any = compile_kernel(
    _average_area, numba.void(constant("float32[:, :, ::1]"), numba.float32[:, :, ::1])
)
