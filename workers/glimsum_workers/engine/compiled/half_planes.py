"""Whole planes of half floats: counted, laid side by side as float32, weighed into one."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.compiled.halves import unpack, unpack_any
from glimsum_workers.engine.compiled.kernel import compile_kernel, constant, numba
from glimsum_workers.engine.compiled.tile_rows import Bits, Samples

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


def _lay_side_by_side(bits: Bits, pixels: Samples) -> None:
    """Lay three planes side by side as float32, (height, width, 3); nothing replaced."""
    red, green, blue = bits
    for y in range(pixels.shape[0]):
        out, r, g, b = pixels[y], red[y], green[y], blue[y]
        for x in range(out.shape[0]):
            out[x, 0] = unpack_any(r[x])
            out[x, 1] = unpack_any(g[x])
            out[x, 2] = unpack_any(b[x])


def _weigh_planes(bits: Bits, shares: NDArray[np.float32], weights: Samples) -> None:
    """Put the sum of three planes times `shares` into `weights`, held to 0..1."""
    red, green, blue = bits
    for y in range(weights.shape[0]):
        out, r, g, b = weights[y], red[y], green[y], blue[y]
        for x in range(out.size):
            weight = unpack(r[x]) * shares[0] + unpack(g[x]) * shares[1] + unpack(b[x]) * shares[2]
            out[x] = min(max(weight, np.float32(0)), np.float32(1))


count_unfinite: Any = compile_kernel(_count_unfinite, numba.int64(_PLANE))
lay_side_by_side: Any = compile_kernel(
    _lay_side_by_side,
    numba.void(numba.types.UniTuple(_PLANE, 3), numba.float32[:, :, ::1]),
)
weigh_planes: Any = compile_kernel(
    _weigh_planes,
    numba.void(numba.types.UniTuple(_PLANE, 3), constant("float32[::1]"), numba.float32[:, ::1]),
)
