"""What is at hand while one tile is made, and the sums over eight taps.

Everything lies in one flat array, the room, addressed by unsigned numbers: the compiler then sees
that rows don't overlap and does eight samples at a time. It stays within a second-level cache.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.compiled.kernel import compile_kernel

Room = NDArray[np.float32]
Address = Any
"""Of a sample in the room: numpy.uintp."""

TILE = 256
"""Columns made at once."""
BAND = 32
"""Rows made at once."""
LINES = 64
"""Source rows at hand, at most."""
WIDEST = 304
"""Samples of a source row under a tile: its columns, 2 % more, and the reach of the taps."""

NODES = 4096
"""Fractions of a pixel in the table of taps."""
MARGIN = 16
"""Nodes before 0 and after 1 in that table."""

CHANGE_PX = 0.004
"""Over as many rows as a fraction takes to change by this, taps are taken to change evenly, as in
their middle: off by 8e-6 at most, a thirtieth of what half floats round; by 5e-5 where the place
passes a whole pixel in between, for the outermost taps begin there with a step."""

U = np.uintp
T, W, THREE, EIGHT = U(TILE + 16), U(WIDEST), U(3), U(8)
"""From row to row in the room: an odd number of cache lines, or all taps fall on the same ones."""
ACROSS, ACROSS_STEPS = U(0), EIGHT * T
"""Taps along a row for each column, and what they change by from row to row."""
ALONG, ALONG_STEPS = U(2) * EIGHT * T, U(3) * EIGHT * T
"""The same along a column."""
MADE = U(4) * EIGHT * T
"""The new row: three channels, one after the other."""
HELD = MADE + THREE * T
"""1 for source columns beside which new samples are limited: of two rows of blocks."""
MIDDLE = HELD + U(2) * W
"""Source rows taken at the new columns: row after row of three channels."""
SOURCE = MIDDLE + U(LINES) * THREE * T
"""The source rows themselves."""
SUM = SOURCE + U(LINES) * THREE * W
"""What was laid on each other so far: row after row of three channels."""
SIZE = SUM + U(BAND) * THREE * T


def _weigh_columns(  # noqa: PLR0917  # asked for in a loop
    room: Room, table: NDArray[np.float32], fractions: NDArray[np.float64], by_row: float,
    taps: Address, steps: Address, n: int,
) -> None:  # fmt: skip
    """Put the eight taps of every column's fraction into the room, and how they change by row.

    `table` holds taps at nodes, and beside them their rises to the next node.
    """
    share = np.float32(by_row * NODES)
    for i in range(n):
        place = fractions[i] * NODES + MARGIN
        node = int(place)
        part = np.float32(place - node)
        for tap in range(8):
            rise = table[node, 8 + tap]
            room[taps + U(tap) * T + U(i)] = table[node, tap] + part * rise
            room[steps + U(tap) * T + U(i)] = share * rise


def _sum_taps(  # noqa: PLR0917  # addresses in the room, asked for in a loop
    room: Room, taps: Address, steps: Address, row: np.float32, start: Address,
    apart: Address, channel: Address, made: Address, n: Address,
) -> None:  # fmt: skip
    """Sum samples `apart` from `start` on, by ``taps + row * steps``, for three channels."""
    for i in range(n):
        a, b = taps + i, steps + i
        w0 = room[a] + row * room[b]
        w1 = room[a + T] + row * room[b + T]
        w2 = room[a + U(2) * T] + row * room[b + U(2) * T]
        w3 = room[a + U(3) * T] + row * room[b + U(3) * T]
        w4 = room[a + U(4) * T] + row * room[b + U(4) * T]
        w5 = room[a + U(5) * T] + row * room[b + U(5) * T]
        w6 = room[a + U(6) * T] + row * room[b + U(6) * T]
        w7 = room[a + U(7) * T] + row * room[b + U(7) * T]
        p = start + i
        room[made + i] = (
            w0 * room[p] + w1 * room[p + apart] + w2 * room[p + U(2) * apart]
            + w3 * room[p + U(3) * apart] + w4 * room[p + U(4) * apart]
            + w5 * room[p + U(5) * apart] + w6 * room[p + U(6) * apart]
            + w7 * room[p + U(7) * apart]
        )  # fmt: skip
        p = start + channel + i
        room[made + T + i] = (
            w0 * room[p] + w1 * room[p + apart] + w2 * room[p + U(2) * apart]
            + w3 * room[p + U(3) * apart] + w4 * room[p + U(4) * apart]
            + w5 * room[p + U(5) * apart] + w6 * room[p + U(6) * apart]
            + w7 * room[p + U(7) * apart]
        )  # fmt: skip
        p = start + U(2) * channel + i
        room[made + U(2) * T + i] = (
            w0 * room[p] + w1 * room[p + apart] + w2 * room[p + U(2) * apart]
            + w3 * room[p + U(3) * apart] + w4 * room[p + U(4) * apart]
            + w5 * room[p + U(5) * apart] + w6 * room[p + U(6) * apart]
            + w7 * room[p + U(7) * apart]
        )  # fmt: skip


def _find_runs(base: NDArray[np.int64], n: int, slide: int, ends: NDArray[np.int64]) -> int:
    """Return in how many runs `base` goes on by `slide` a column; their ends go into `ends`."""
    count = 0
    for i in range(1, n):
        if base[i] - base[i - 1] != slide:
            ends[count] = i
            count += 1
    ends[count] = n
    return count + 1


weigh_columns = compile_kernel(_weigh_columns)
sum_taps = compile_kernel(_sum_taps)
find_runs = compile_kernel(_find_runs)


def _sum_across(  # noqa: PLR0917  # as `_sum_taps`
    room: Room, taps: Address, steps: Address, row: np.float32, start: Address,
    made: Address, n: Address,
) -> None:  # fmt: skip
    """Sum along source rows."""
    sum_taps(room, taps, steps, row, start, U(1), W, made, n)


def _sum_along(  # noqa: PLR0917  # as `_sum_taps`
    room: Room, taps: Address, steps: Address, row: np.float32, start: Address,
    made: Address, n: Address,
) -> None:  # fmt: skip
    """Sum along the columns of the rows in the middle."""
    sum_taps(room, taps, steps, row, start, THREE * T, T, made, n)


# Each with its distances written in, which the compiler then knows.
sum_across = compile_kernel(_sum_across)
sum_along = compile_kernel(_sum_along)
