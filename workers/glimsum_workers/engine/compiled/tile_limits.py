"""New samples beside lamps kept within the four source samples next to them."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.compiled.kernel import compile_kernel
from glimsum_workers.engine.compiled.room import (
    HELD,
    MADE,
    SOURCE,
    Address,
    Room,
    T,
    W,
)

U = np.uintp
_BLOCK_SHIFT = 2
"""Blocks of the rule are 4 pixels wide (`resample.ring_limits`)."""


def _limit_run(  # noqa: PLR0917  # asked for in a loop
    room: Room, made: Address, upper: Address, lower: Address, held: Address, n: Address
) -> None:
    """Limit a run of new samples whose source samples lie side by side in two rows."""
    for index in range(3):
        out, p, q = made + U(index) * T, upper + U(index) * W, lower + U(index) * W
        for i in range(n):
            a, b, c, d = room[p + i], room[p + U(1) + i], room[q + i], room[q + U(1) + i]
            low, high = min(a, b, c, d), max(a, b, c, d)
            value = room[out + i]
            within = min(max(value, low), high)
            room[out + i] = within if room[held + i] != 0 else value


limit_run = compile_kernel(_limit_run)


def _limit_row(  # noqa: PLR0917  # asked for in a loop
    room: Room, y: int, x: int, n: int, map_of: tuple[float, ...], lamps: NDArray[np.bool_],
    lefts: NDArray[np.int64], first: int, rows: NDArray[np.int32], columns: NDArray[np.int32],
) -> None:  # fmt: skip
    """Limit the new row where the rule says so."""
    a, b, right, c, d, down = map_of
    down, right = c * x + d * y + down, a * x + b * y + right
    for i in range(np.int32(n)):
        place = np.float64(np.int32(i))
        rows[i] = np.int32(np.floor(c * place + down))
        columns[i] = np.int32(np.floor(a * place + right))
    last_row, last_column = lamps.shape[0] - 1, lamps.shape[1] - 1
    start = 0
    while start < n:
        line, slide = rows[start], columns[start] - start
        end = start + 1
        while end < n and rows[end] == line and columns[end] - end == slide:
            end += 1
        row = min(max(line >> _BLOCK_SHIFT, 0), last_row)
        some, i = False, start
        while i < end:
            block = (slide + i) >> _BLOCK_SHIFT
            stop = min(end, ((block + 1) << _BLOCK_SHIFT) - slide)
            held = lamps[row, min(max(block, 0), last_column)]
            some |= held
            for each in range(i, stop):
                room[HELD + U(each)] = np.float32(held)
            i = stop
        if some:
            slot, column = line - first, slide + start
            upper = SOURCE + U(slot) * U(3) * W + U(column - lefts[slot])
            lower = SOURCE + U(slot + 1) * U(3) * W + U(column - lefts[slot + 1])
            limit_run(room, MADE + U(start), upper, lower, HELD + U(start), U(end - start))
        start = end


limit_row: Any = compile_kernel(_limit_row)
