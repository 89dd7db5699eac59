"""A picture made smaller: every new pixel the mean of the area it covers."""

from typing import Any

import numpy as np

from glimsum_workers.engine.compiled.kernel import compile_kernel, constant, numba
from glimsum_workers.engine.compiled.tile_rows import Samples


def _average_area(pixels: Samples, made: Samples) -> None:
    """Put the means of `pixels`, (height, width, channels), into `made`."""
    height, channels = pixels.shape[0], pixels.shape[2]
    flat = pixels.reshape(height, -1)
    line = np.empty(flat.shape[1], np.float32)
    down, across = height / made.shape[0], pixels.shape[1] / made.shape[1]
    for row in range(made.shape[0]):
        line[:] = 0
        top, bottom = row * down, (row + 1) * down
        for y in range(int(top), min(int(np.ceil(bottom)), height)):
            share = np.float32((min(bottom, y + 1.0) - max(top, float(y))) / down)
            source = flat[y]
            for x in range(line.size):
                line[x] += share * source[x]
        for column in range(made.shape[1]):
            left, right = column * across, (column + 1) * across
            last = min(int(np.ceil(right)), pixels.shape[1])
            for channel in range(channels):
                total = np.float32(0)
                for x in range(int(left), last):
                    share = np.float32((min(right, x + 1.0) - max(left, float(x))) / across)
                    total += share * line[x * channels + channel]
                made[row, column, channel] = total


average_area: Any = compile_kernel(
    _average_area, numba.void(constant("float32[:, :, ::1]"), numba.float32[:, :, ::1])
)
