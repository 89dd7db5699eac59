"""Whole planes of half floats, counted."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.compiled.kernel import compile_kernel, constant, numba

_PLANE = constant("int16[:, ::1]")


def _count_unfinite(plane: NDArray[np.int16]) -> Any:
    """Return how many halves of a plane are NaN or infinite."""
    count: Any = 0
    for y in range(plane.shape[0]):
        row = plane[y]
        found: Any = np.int32(0)
        for x in range(row.size):
            found += np.int32((np.int32(row[x]) & np.int32(0x7C00)) == np.int32(0x7C00))
        count += found
    return count


count_unfinite: Any = compile_kernel(_count_unfinite, numba.int64(_PLANE))
