"""New samples beside lamps kept within the four source samples next to them."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.compiled.kernel import compile_kernel
from glimsum_workers.engine.compiled.room import (
    MADE,
    SLACK,
    SOURCE,
    WIDEST,
    Address,
    Room,
    T,
    W,
)

U = np.uintp
_BLOCK_SHIFT = 2
"""Blocks of the rule are 4 pixels wide (`resample.ring_limits`)."""
NOTHING = -1 << 40
"""No row of blocks."""


def _limit_run(  # noqa: PLR0917  # asked for in a loop
    room: Room, made: Address, upper: Address, lower: Address, slacks: Address, n: Address
) -> None:
    """Limit a run of new samples whose source samples lie side by side in two rows."""
    for index in range(3):
        out, p, q = made + U(index) * T, upper + U(index) * W, lower + U(index) * W
        for i in range(n):
            a, b, c, d = room[p + i], room[p + U(1) + i], room[q + i], room[q + U(1) + i]
            low, high = min(a, b, c, d), max(a, b, c, d)
            slack = room[slacks + i]
            # Chosen by a condition, the new sample would be stored by one: many times slower.
            room[out + i] = min(max(room[out + i], low - slack), high + slack)


def _end_of_run(slope: float, start: float, slide: int, first: int, n: int) -> int:
    """Return where ``floor(slope * i + start) - slide * i`` is no longer what it is at `first`."""
    at_first = int(np.floor(slope * first + start)) - slide * first
    same, other = first, n - 1
    if int(np.floor(slope * other + start)) - slide * other == at_first:
        return n
    while other - same > 1:
        middle = (same + other) >> 1
        if int(np.floor(slope * middle + start)) - slide * middle == at_first:
            same = middle
        else:
            other = middle
    return other


def _mark_held(room: Room, at: Address, lamps: NDArray[np.bool_], row: int, block: int) -> bool:
    """Put the slack of source columns from `block` on: 0 in a lamp's block; tell of any."""
    line, some = lamps[min(max(row, 0), lamps.shape[0] - 1)], False
    for each in range(WIDEST >> _BLOCK_SHIFT):
        held = line[min(max(block + each, 0), line.size - 1)]
        some |= held
        slack = np.float32(0) if held else np.float32(np.inf)
        for i in range(4):
            room[at + U(4 * each + i)] = slack
    return some


limit_run = compile_kernel(_limit_run)
end_of_run = compile_kernel(_end_of_run)
mark_held = compile_kernel(_mark_held)


def _limit_row(  # noqa: PLR0917  # asked for in a loop
    room: Room, y: int, x: int, n: int, map_of: tuple[float, ...], lamps: NDArray[np.bool_],
    lefts: NDArray[np.int64], first: int, marked: NDArray[np.int64],
) -> None:  # fmt: skip
    """Limit the new row where the rule says so.

    `marked` remembers which block row is marked in the room, from which block on, and whether
    it holds a lamp: three numbers each for even and odd block rows.
    """
    a, b, right, c, d, down = map_of
    down, right = c * x + d * y + down, a * x + b * y + right
    block = int(np.floor(min(right, a * (n - 1) + right))) >> _BLOCK_SHIFT
    start = 0
    while start < n:
        line, column = int(np.floor(c * start + down)), int(np.floor(a * start + right))
        end = min(end_of_run(c, down, 0, start, n), end_of_run(a, right, 1, start, n))
        row = line >> _BLOCK_SHIFT
        parity = row & 1
        held = SLACK + U(parity) * W
        if marked[3 * parity] != row or marked[3 * parity + 1] != block:
            marked[3 * parity], marked[3 * parity + 1] = row, block
            marked[3 * parity + 2] = mark_held(room, held, lamps, row, block)
        if marked[3 * parity + 2]:
            slot = line - first
            upper = SOURCE + U(slot) * U(3) * W + U(column - lefts[slot])
            lower = SOURCE + U(slot + 1) * U(3) * W + U(column - lefts[slot + 1])
            held += U(column - (block << _BLOCK_SHIFT))
            limit_run(room, MADE + U(start), upper, lower, held, U(end - start))
        start = end


limit_row: Any = compile_kernel(_limit_row)
