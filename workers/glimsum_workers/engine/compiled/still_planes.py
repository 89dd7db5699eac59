"""Pictures laid down where they are: gains, tint and matte, no resample."""

from typing import Any

import numpy as np

from glimsum_workers.engine.compiled.kernel import compile_kernel, constant, numba
from glimsum_workers.engine.compiled.room import TILE, W
from glimsum_workers.engine.compiled.tile_rows import Bits, Samples, mix, take_row

U = np.uintp


def _add_planes(  # noqa: PLR0917  # one walk: calls cost time
    pixels: Samples, bits: Bits, is_half: bool, how_in: int, matrix_in: Samples, how_out: int,
    matrix_out: Samples, matte: Samples, matted: bool, target: Samples,
) -> None:  # fmt: skip
    """Add ``matte * matrix_out @ matrix_in @ source`` to `target`, (height, width, 3)."""
    room, source = np.zeros(U(3) * W, np.float32), U(0)
    height, width = target.shape[0], target.shape[1]
    for y in range(height):
        for x in range(0, width, TILE):
            n = min(TILE, width - x)
            take_row(room, source, pixels, bits, is_half, y, x, n, how_in, matrix_in)
            mix(room, source, W, U(n), how_out, matrix_out)
            if matted:
                weights = matte[y, x : x + n]
                for index in range(3):
                    place = source + U(index) * W
                    for i in range(U(n)):
                        room[place + i] *= weights[i]
            out = target[y, x : x + n]
            for i in range(U(n)):
                out[i, 0] += room[source + i]
                out[i, 1] += room[source + W + i]
                out[i, 2] += room[source + U(2) * W + i]


_SQUARE = constant("float32[:, ::1]")

add_planes: Any = compile_kernel(
    _add_planes,
    numba.void(
        constant("float32[:, :, ::1]"),
        numba.types.UniTuple(constant("int16[:, ::1]"), 3),
        numba.boolean,
        numba.int64,
        _SQUARE,
        numba.int64,
        _SQUARE,
        _SQUARE,
        numba.boolean,
        numba.float32[:, :, ::1],
    ),
)
