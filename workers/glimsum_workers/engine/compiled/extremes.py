"""The darkest and brightest sample of every block of 4 x 4 pixels."""

from typing import Any

import numpy as np

from glimsum_workers.engine.compiled.kernel import compile_kernel, constant, numba
from glimsum_workers.engine.compiled.room import ACROSS, ALONG, SIZE, SOURCE, TILE, T, W
from glimsum_workers.engine.compiled.tile_rows import Bits, Samples, take_row

U = np.uintp
_BLOCK = 4
_HIGH, _LOW = ACROSS, ALONG


def _find_extremes(  # noqa: C901, PLR0912, PLR0917  # one walk: calls cost time
    pixels: Samples, bits: Bits, is_half: bool, how: int, matrix: Samples, high: Samples,
    low: Samples,
) -> None:  # fmt: skip
    """Put the extremes of ``matrix @ source`` into `high` and `low`: (block rows, columns, 3)."""
    if is_half:
        height, width = bits[0].shape
    else:
        height, width = pixels.shape[0], pixels.shape[1]
    room = np.zeros(SIZE, np.float32)
    for row in range(high.shape[0]):
        for x in range(0, width, TILE):
            n = min(TILE, width - x)
            count = U(n)
            for y in range(row * _BLOCK, min((row + 1) * _BLOCK, height)):
                take_row(room, SOURCE, pixels, bits, is_half, y, x, n, how, matrix)
                for index in range(3):
                    taken = SOURCE + U(index) * W
                    above, below = _HIGH + U(index) * T, _LOW + U(index) * T
                    if y == row * _BLOCK:
                        for i in range(count):
                            room[above + i] = room[taken + i]
                            room[below + i] = room[taken + i]
                    else:
                        for i in range(count):
                            room[above + i] = max(room[above + i], room[taken + i])
                            room[below + i] = min(room[below + i], room[taken + i])
            for index in range(3):
                above, below = _HIGH + U(index) * T, _LOW + U(index) * T
                for block in range((n + _BLOCK - 1) // _BLOCK):
                    most, least = room[above + U(_BLOCK * block)], room[below + U(_BLOCK * block)]
                    for i in range(_BLOCK * block + 1, min(_BLOCK * (block + 1), n)):
                        most = max(most, room[above + U(i)])
                        least = min(least, room[below + U(i)])
                    high[row, x // _BLOCK + block, index] = most
                    low[row, x // _BLOCK + block, index] = least


find_extremes: Any = compile_kernel(
    _find_extremes,
    numba.void(
        constant("float32[:, :, ::1]"),
        numba.types.UniTuple(constant("int16[:, ::1]"), 3),
        numba.boolean,
        numba.int64,
        constant("float32[:, ::1]"),
        numba.float32[:, :, ::1],
        numba.float32[:, :, ::1],
    ),
)


def _find_lamps(high: Samples, low: Samples, floor: np.float32, lamps: Any) -> None:
    """Mark blocks that, with their eight neighbours, hold twice their darkest and `floor`."""
    rows, columns = lamps.shape
    for row in range(rows):
        top, bottom = max(row - 1, 0), min(row + 1, rows - 1)
        for column in range(columns):
            left, right = max(column - 1, 0), min(column + 1, columns - 1)
            found = False
            for index in range(3):
                most, least = high[row, column, index], low[row, column, index]
                for y in range(top, bottom + 1):
                    for x in range(left, right + 1):
                        most = max(most, high[y, x, index])
                        least = min(least, low[y, x, index])
                found |= most > np.float32(2) * max(least, np.float32(0)) + floor
            lamps[row, column] = found


_BLOCKS = constant("float32[:, :, ::1]")

find_lamps: Any = compile_kernel(
    _find_lamps, numba.void(_BLOCKS, _BLOCKS, numba.float32, numba.boolean[:, ::1])
)
