"""Each new pixel at a place of its own, from the 8 x 8 source samples round it."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.compiled.bands import MARGIN, NODES
from glimsum_workers.engine.compiled.kernel import compile_kernel, constant, numba
from glimsum_workers.engine.compiled.room import MADE, SIZE, SOURCE, TILE, T, W
from glimsum_workers.engine.compiled.squares import FLOATS, sum_square
from glimsum_workers.engine.compiled.tile_rows import Bits, Samples, lay_row, take_row

U = np.uintp
REACH = 8
"""Beyond the edges by so much, a kernel sees the outermost samples alone."""
RIM = 16
"""Columns and rows of repeated edge round the source: a place's reach and half a kernel."""
_BLOCK_SHIFT = 2
"""Blocks of the rule are 4 pixels wide (`resample.ring_limits`)."""
_FOUR = U(FLOATS)


def _spread(  # noqa: PLR0917  # one walk
    pixels: Samples, bits: Bits, is_half: bool, how: int, matrix: Samples, spread: Samples
) -> None:
    """Put ``matrix @ source`` into `spread`, with a rim of its edges."""
    height, width = spread.shape[0], spread.shape[1]
    room = np.zeros(SIZE, np.float32)
    for y in range(height):
        for x in range(0, width, TILE):
            n = min(TILE, width - x)
            take_row(room, SOURCE, pixels, bits, is_half, y - RIM, x - RIM, n, how, matrix)
            out = spread[y, x : x + n]
            for i in range(U(n)):
                out[i, 0] = room[SOURCE + i]
                out[i, 1] = room[SOURCE + W + i]
                out[i, 2] = room[SOURCE + U(2) * W + i]
                out[i, 3] = 0


def _limit_sample(flat: Samples, near: Any, line: Any, sums: Samples) -> None:
    """Keep a new sample within the four samples from `near` on."""
    for channel in range(U(3)):
        p = near + channel
        a, b, c, d = flat[p], flat[p + _FOUR], flat[p + line], flat[p + line + _FOUR]
        sums[channel] = min(max(sums[channel], min(a, b, c, d)), max(a, b, c, d))


limit_sample: Any = compile_kernel(_limit_sample)


def _lay_field(  # noqa: PLR0917  # one walk: calls cost time
    spread: Samples, field: Samples, left: float, top: float, table: Samples,
    lamps: NDArray[np.bool_], limited: bool, target: Samples, how: int, matrix: Samples,
    matte: Samples, matted: bool, added: bool,
) -> None:  # fmt: skip
    """Lay the samples at ``(x + left, y + top) + field[y, x]`` on `target`."""
    height, width = spread.shape[0] - 2 * RIM, spread.shape[1] - 2 * RIM
    flat, line = spread.reshape(-1), U(FLOATS * spread.shape[1])
    room, sums = np.zeros(SIZE, np.float32), np.zeros(FLOATS, np.float32)
    last_block, last_column = lamps.shape[0] - 1, lamps.shape[1] - 1
    for y in range(target.shape[0]):
        for x in range(0, target.shape[1], TILE):
            n = min(TILE, target.shape[1] - x)
            for i in range(n):
                across = field[y, x + i, 0] + (x + i + left)
                along = field[y, x + i, 1] + (y + top)
                across = min(max(across, -float(REACH)), width - 1.0 + REACH)
                along = min(max(along, -float(REACH)), height - 1.0 + REACH)
                column, row = int(np.floor(across)), int(np.floor(along))
                part_right = np.float32((across - column) * NODES + MARGIN)
                part_down = np.float32((along - row) * NODES + MARGIN)
                node_right, node_down = int(part_right), int(part_down)
                near = U(row + RIM) * line + _FOUR * U(column + RIM)
                sum_square(
                    flat,
                    np.int64(near - U(3) * (line + _FOUR)),
                    np.int64(line),
                    table,
                    node_right,
                    part_right - np.float32(node_right),
                    node_down,
                    part_down - np.float32(node_down),
                    sums,
                )
                if limited:
                    block = min(max(row >> _BLOCK_SHIFT, 0), last_block)
                    if lamps[block, min(max(column >> _BLOCK_SHIFT, 0), last_column)]:
                        limit_sample(flat, near, line, sums)
                for channel in range(U(3)):
                    room[MADE + channel * T + U(i)] = sums[channel]
            lay_row(room, n, target[y, x : x + n], how, matrix,
                    matte[y, x : x + n] if matted else matte[0], matted, added)  # fmt: skip


_IMAGE, _SQUARE = constant("float32[:, :, ::1]"), constant("float32[:, ::1]")
_MADE = numba.float32[:, :, ::1]

spread: Any = compile_kernel(
    _spread,
    numba.void(
        _IMAGE, numba.types.UniTuple(constant("int16[:, ::1]"), 3), numba.boolean, numba.int64,
        _SQUARE, _MADE,
    ),
)  # fmt: skip
lay_field: Any = compile_kernel(
    _lay_field,
    numba.void(
        _MADE, _IMAGE, numba.float64, numba.float64, _SQUARE, constant("boolean[:, ::1]"),
        numba.boolean, _MADE, numba.int64, _SQUARE, _SQUARE, numba.boolean, numba.boolean,
    ),
)  # fmt: skip
