"""A tile of a picture that stays where it is, added to what was laid there before."""

from typing import Any

import numpy as np

from glimsum_workers.engine.compiled.kernel import compile_kernel
from glimsum_workers.engine.compiled.room import SOURCE, SUM, Room, T, W
from glimsum_workers.engine.compiled.tile_rows import Bits, Samples, add_row, take_row

U = np.uintp


def _add_still_tile(  # noqa: PLR0917  # asked for in a loop
    room: Room, x: int, n: int, first_row: int, end_row: int, pixels: Samples, bits: Bits,
    is_half: bool, how_in: int, matrix_in: Samples, how_out: int, matrix_out: Samples,
    matte: Samples, matted: bool,
) -> None:  # fmt: skip
    """Add columns `x` to ``x + n`` of some rows to the sum."""
    for y in range(first_row, end_row):
        take_row(room, SOURCE, pixels, bits, is_half, y, x, n, how_in, matrix_in)
        add_row(room, SOURCE, W, n, SUM + U(y - first_row) * U(3) * T, how_out, matrix_out,
                matte[y, x : x + n] if matted else matte[0], matted)  # fmt: skip


add_still_tile: Any = compile_kernel(_add_still_tile)
