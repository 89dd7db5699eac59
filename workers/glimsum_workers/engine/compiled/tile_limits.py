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
    room: Room, y: int, x: int, n: int, place: tuple[float, ...], lamps: NDArray[np.bool_],
    lefts: NDArray[np.int64], first: int, rows: NDArray[np.int32], columns: NDArray[np.int32],
) -> None:  # fmt: skip
    """Limit the new row where the rule says so."""
    a, b, right, c, d, down = place
    last_row, last_column = lamps.shape[0] - 1, lamps.shape[1] - 1
    for i in range(n):
        rows[i] = np.int32(np.floor(c * (x + i) + d * y + down))
        columns[i] = np.int32(np.floor(a * (x + i) + b * y + right))
    some = False
    for i in range(n):
        row = min(max(rows[i] >> _BLOCK_SHIFT, 0), last_row)
        column = min(max(columns[i] >> _BLOCK_SHIFT, 0), last_column)
        held = lamps[row, column]
        some |= held
        room[HELD + U(i)] = np.float32(held)
    if not some:
        return
    start = 0
    for i in range(1, n + 1):
        ends = i == n
        if not ends:
            ends = rows[i] != rows[start] or columns[i] - i != columns[start] - start
        if ends:
            line, column = rows[start] - first, columns[start]
            upper = SOURCE + U(line) * U(3) * W + U(column - lefts[line])
            lower = SOURCE + U(line + 1) * U(3) * W + U(column - lefts[line + 1])
            limit_run(room, MADE + U(start), upper, lower, HELD + U(start), U(i - start))
            start = i


limit_row: Any = compile_kernel(_limit_row)
