"""A tile of a picture that stays where it is, added to what was laid there before."""

from typing import Any

import numpy as np

from glimsum_workers.engine.compiled.halves import unpack
from glimsum_workers.engine.compiled.kernel import compile_kernel
from glimsum_workers.engine.compiled.room import SOURCE, SUM, Address, Room, T, W
from glimsum_workers.engine.compiled.tile_rows import MATRIX, Bits, Samples, add_row, take_row

U = np.uintp


def _add_gained_row(  # noqa: PLR0917  # asked for in a loop
    room: Room, total: Address, bits: Bits, y: int, x: int, n: int, matrix_in: Samples,
    matrix_out: Samples, matte: Samples, matted: bool,
) -> None:  # fmt: skip
    """Add a row of halves whose matrices have nothing beside their diagonals.

    The products of `take_row` and `add_row` in their order, without a way through the room.
    """
    for index in range(3):
        first, second = matrix_in[index, index], matrix_out[index, index]
        stored, at = bits[index][y, x : x + n], total + U(index) * T
        if matted:
            for i in range(U(n)):
                room[at + i] += unpack(stored[i]) * first * second * matte[i]
        else:
            for i in range(U(n)):
                room[at + i] += unpack(stored[i]) * first * second


add_gained_row: Any = compile_kernel(_add_gained_row)


def _add_still_tile(  # noqa: PLR0917  # asked for in a loop
    room: Room, x: int, n: int, first_row: int, end_row: int, pixels: Samples, bits: Bits,
    is_half: bool, how_in: int, matrix_in: Samples, how_out: int, matrix_out: Samples,
    matte: Samples, matted: bool,
) -> None:  # fmt: skip
    """Add columns `x` to ``x + n`` of some rows to the sum."""
    for y in range(first_row, end_row):
        total = SUM + U(y - first_row) * U(3) * T
        weights = matte[y, x : x + n] if matted else matte[0]
        if is_half and MATRIX not in (how_in, how_out):
            add_gained_row(room, total, bits, y, x, n, matrix_in, matrix_out, weights, matted)
        else:
            take_row(room, SOURCE, pixels, bits, is_half, y, x, n, how_in, matrix_in)
            add_row(room, SOURCE, W, n, total, how_out, matrix_out, weights, matted)


add_still_tile: Any = compile_kernel(_add_still_tile)
