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
    fours = rows.shape[0] // 4 * 4
    for y in range(0, fours, 4):
        a, b, c, d = rows[y], rows[y + 1], rows[y + 2], rows[y + 3]
        count: Any = np.int32(0)
        for x in range(columns.size):
            total = (np.float64(a[x]) + np.float64(b[x])) + (np.float64(c[x]) + np.float64(d[x]))
            columns[x] += total
            count += np.int32(a[x] < 0) + np.int32(b[x] < 0)
            count += np.int32(c[x] < 0) + np.int32(d[x] < 0)
        below += count
    for y in range(fours, rows.shape[0]):
        row = rows[y]
        for x in range(columns.size):
            columns[x] += row[x]
            below += row[x] < 0
    return below


sum_picture: Any = compile_kernel(
    _sum_picture, numba.int64(constant("float32[:, :, ::1]"), numba.float64[::1])
)
