"""Light whose noise is alike all over, at half the size: see `registration.noise.stabilise`."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.compiled.fused import fused
from glimsum_workers.engine.compiled.kernel import compile_kernel, constant, numba

U = np.uintp
Floats = NDArray[np.float32]


def _root_row(line: Any, scale: Any, offset: Any, row: Any, adds: bool) -> None:
    """Put the roots of a row of light into `row`, or add them to it."""
    zero = np.float32(0)
    if adds:
        for x in range(U(row.size)):
            row[x] += np.sqrt(max(fused(line[x], scale, offset), zero))
    else:
        for x in range(U(row.size)):
            row[x] = np.sqrt(max(fused(line[x], scale, offset), zero))


root_row = compile_kernel(_root_row)


def _steady_half(plane: Floats, scale: Any, offset: Any, half: Floats) -> None:
    """Put the sum of ``sqrt(plane * scale + offset)`` over 2 x 2 pixels into `half`.

    0 for the root of a negative number. An odd row and column are left out.
    """
    row = np.empty(2 * half.shape[1], np.float32)
    for y in range(half.shape[0]):
        root_row(plane[2 * y], scale, offset, row, False)
        root_row(plane[2 * y + 1], scale, offset, row, True)
        out = half[y]
        for x in range(U(out.size)):
            out[x] = row[U(2) * x] + row[U(2) * x + U(1)]


steady_half: Any = compile_kernel(
    _steady_half,
    numba.void(constant("float32[:, ::1]"), numba.float32, numba.float32, numba.float32[:, ::1]),
)
