"""Several pictures laid on each other in one walk: the tile they make stays in the cache."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.compiled.kernel import compile_kernel, constant, numba
from glimsum_workers.engine.compiled.room import BAND, LINES, SIZE, SUM, TILE, T
from glimsum_workers.engine.compiled.still_tiles import add_still_tile
from glimsum_workers.engine.compiled.tile_limits import NOTHING
from glimsum_workers.engine.compiled.tile_rows import Bits, Samples, begin_sum, end_sum
from glimsum_workers.engine.compiled.tiles import add_moved_tile

U = np.uintp
MOST = 4
"""Pictures of one walk; the places of absent ones are filled with something small."""

Flags = NDArray[np.bool_]
Numbers = NDArray[np.int64]


def _lay_together(  # noqa: PLR0917  # one walk: calls cost time
    count: int, pixels: tuple[Samples, ...], bits: tuple[Bits, ...], is_half: Flags,
    how_in: Numbers, matrix_in: Samples, moved: Flags, places: NDArray[np.float64],
    table: Samples, lamps: tuple[Flags, ...], limited: Flags, how_out: Numbers,
    matrix_out: Samples, mattes: tuple[Samples, ...], matted: Flags, target: Samples, added: bool,
) -> None:  # fmt: skip
    """Lay the first `count` pictures on `target`, or on nothing: (height, width, 3)."""
    height, width = target.shape[0], target.shape[1]
    room = np.zeros(SIZE, np.float32)
    most = 1
    for index in range(count):
        most = max(most, lamps[index].shape[0])
    hand = (
        np.zeros(LINES, np.int64),
        np.empty(TILE, np.int64),
        np.empty(TILE, np.int64),
        np.empty(TILE, np.int64),
        np.empty(TILE, np.int64),
        np.full(6, NOTHING, np.int64),
        np.zeros(most, np.bool_),
    )
    # Pictures that all stay are read row after row, as they lie in memory.
    band = BAND if moved[:count].any() else 1
    for top in range(0, height, band):
        bottom = min(top + band, height)
        for x in range(0, width, TILE):
            n = min(TILE, width - x)
            for y in range(top, bottom):
                begin_sum(room, SUM + U(y - top) * U(3) * T, target[y, x : x + n], added)
            for k in range(count):
                if moved[k]:
                    p = places[k]
                    place = p[0], p[1], p[2], p[3], p[4], p[5]
                    add_moved_tile(room, hand, x, n, top, bottom, pixels[k], bits[k], is_half[k],
                                   how_in[k], matrix_in[k], place, table, lamps[k], limited[k],
                                   how_out[k], matrix_out[k], mattes[k], matted[k])  # fmt: skip
                else:
                    add_still_tile(room, x, n, top, bottom, pixels[k], bits[k], is_half[k],
                                   how_in[k], matrix_in[k], how_out[k], matrix_out[k],
                                   mattes[k], matted[k])  # fmt: skip
            for y in range(top, bottom):
                end_sum(room, SUM + U(y - top) * U(3) * T, target[y, x : x + n])


_SQUARE, _CUBE = constant("float32[:, ::1]"), constant("float32[:, :, ::1]")
_FLAGS, _NUMBERS = constant("boolean[::1]"), constant("int64[::1]")
_PLANES = numba.types.UniTuple(constant("int16[:, ::1]"), 3)


def _each(kind: Any) -> Any:
    return numba.types.UniTuple(kind, MOST)


lay_together: Any = compile_kernel(
    _lay_together,
    numba.void(
        numba.int64, _each(_CUBE), _each(_PLANES), _FLAGS, _NUMBERS, _CUBE, _FLAGS,
        constant("float64[:, ::1]"), _SQUARE, _each(constant("boolean[:, ::1]")), _FLAGS,
        _NUMBERS, _CUBE, _each(_SQUARE), _FLAGS, numba.float32[:, :, ::1], numba.boolean,
    ),
)  # fmt: skip
