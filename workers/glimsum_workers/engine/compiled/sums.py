"""Sums over a whole picture."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.compiled.kernel import compile_kernel, constant, numba
from glimsum_workers.engine.compiled.tile_rows import Samples


def _sum_picture(pixels: Samples, columns: NDArray[np.float64]) -> Any:
    """Add up each sample of a row over all rows, in float64; return how many are below 0."""
    rows, below = pixels.reshape(pixels.shape[0], -1), 0
    columns[:] = 0
    for y in range(rows.shape[0]):
        row = rows[y]
        count: Any = np.int32(0)
        for x in range(row.size):
            columns[x] += row[x]
            count += np.int32(row[x] < 0)
        below += count
    return below


sum_picture: Any = compile_kernel(
    _sum_picture, numba.int64(constant("float32[:, :, ::1]"), numba.float64[::1])
)
