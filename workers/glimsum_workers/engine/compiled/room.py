"""What is at hand while one tile is made, and the sums over eight taps.

Everything lies in one flat array, the room, addressed by unsigned numbers: the compiler then sees
that rows don't overlap and does eight samples at a time. It stays within a second-level cache.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.compiled.fused import fused
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

U = np.uintp
T, W, THREE, EIGHT = U(TILE + 16), U(WIDEST), U(3), U(8)
"""From row to row in the room: an odd number of cache lines, or all taps fall on the same ones."""
ACROSS, ACROSS_STEPS = U(0), EIGHT * T
"""Taps along a row for each column, and what they change by from row to row."""
ALONG, ALONG_STEPS = U(2) * EIGHT * T, U(3) * EIGHT * T
"""The same along a column."""
MADE = U(4) * EIGHT * T
"""The new row: three channels, one after the other."""
SLACK = MADE + THREE * T
"""By how much new samples may go beyond the source samples beside them: 0 or without end, for
the source columns of two rows of blocks."""
MIDDLE = SLACK + U(2) * W
"""Source rows taken at the new columns: row after row of three channels."""
SOURCE = MIDDLE + U(LINES) * THREE * T
"""The source rows themselves."""
SUM = SOURCE + U(LINES) * THREE * W
"""What was laid on each other so far: row after row of three channels."""
SIZE = SUM + U(BAND) * THREE * T


def _sum_taps(  # noqa: PLR0917  # addresses in the room, asked for in a loop
    room: Room, taps: Address, steps: Address, row: np.float32, start: Address,
    apart: Address, channel: Address, made: Address, n: Address,
) -> None:  # fmt: skip
    """Sum samples `apart` from `start` on, by ``taps + row * steps``, for three channels."""
    for i in range(n):
        a, b = taps + i, steps + i
        w0 = fused(row, room[b], room[a])
        w1 = fused(row, room[b + T], room[a + T])
        w2 = fused(row, room[b + U(2) * T], room[a + U(2) * T])
        w3 = fused(row, room[b + U(3) * T], room[a + U(3) * T])
        w4 = fused(row, room[b + U(4) * T], room[a + U(4) * T])
        w5 = fused(row, room[b + U(5) * T], room[a + U(5) * T])
        w6 = fused(row, room[b + U(6) * T], room[a + U(6) * T])
        w7 = fused(row, room[b + U(7) * T], room[a + U(7) * T])
        p = start + i
        total = w0 * room[p]
        total = fused(w1, room[p + apart], total)
        total = fused(w2, room[p + U(2) * apart], total)
        total = fused(w3, room[p + U(3) * apart], total)
        total = fused(w4, room[p + U(4) * apart], total)
        total = fused(w5, room[p + U(5) * apart], total)
        total = fused(w6, room[p + U(6) * apart], total)
        total = fused(w7, room[p + U(7) * apart], total)
        room[made + i] = total
        p = start + channel + i
        total = w0 * room[p]
        total = fused(w1, room[p + apart], total)
        total = fused(w2, room[p + U(2) * apart], total)
        total = fused(w3, room[p + U(3) * apart], total)
        total = fused(w4, room[p + U(4) * apart], total)
        total = fused(w5, room[p + U(5) * apart], total)
        total = fused(w6, room[p + U(6) * apart], total)
        total = fused(w7, room[p + U(7) * apart], total)
        room[made + T + i] = total
        p = start + U(2) * channel + i
        total = w0 * room[p]
        total = fused(w1, room[p + apart], total)
        total = fused(w2, room[p + U(2) * apart], total)
        total = fused(w3, room[p + U(3) * apart], total)
        total = fused(w4, room[p + U(4) * apart], total)
        total = fused(w5, room[p + U(5) * apart], total)
        total = fused(w6, room[p + U(6) * apart], total)
        total = fused(w7, room[p + U(7) * apart], total)
        room[made + U(2) * T + i] = total


def _sum_evenly(  # noqa: PLR0917  # as `_sum_taps`
    room: Room, taps: Address, start: Address, apart: Address, channel: Address, made: Address,
    n: Address,
) -> None:  # fmt: skip
    """Do what `_sum_taps` does where all columns and rows have the taps of the first."""
    w0, w1, w2, w3 = room[taps], room[taps + T], room[taps + U(2) * T], room[taps + U(3) * T]
    taps += U(4) * T
    w4, w5, w6, w7 = room[taps], room[taps + T], room[taps + U(2) * T], room[taps + U(3) * T]
    for index in range(3):
        first, into = start + U(index) * channel, made + U(index) * T
        for i in range(n):
            p = first + i
            total = w0 * room[p]
            total = fused(w1, room[p + apart], total)
            total = fused(w2, room[p + U(2) * apart], total)
            total = fused(w3, room[p + U(3) * apart], total)
            total = fused(w4, room[p + U(4) * apart], total)
            total = fused(w5, room[p + U(5) * apart], total)
            total = fused(w6, room[p + U(6) * apart], total)
            room[into + i] = fused(w7, room[p + U(7) * apart], total)


sum_taps = compile_kernel(_sum_taps)
sum_evenly = compile_kernel(_sum_evenly)


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


def _sum_evenly_across(
    room: Room, taps: Address, start: Address, made: Address, n: Address
) -> None:
    """Sum along source rows, all columns by the taps of the first."""
    sum_evenly(room, taps, start, U(1), W, made, n)


def _sum_evenly_along(room: Room, taps: Address, start: Address, made: Address, n: Address) -> None:
    """Sum along the columns of the rows in the middle, all by the taps of the first."""
    sum_evenly(room, taps, start, THREE * T, T, made, n)


# Each with its distances written in, which the compiler then knows.
sum_across = compile_kernel(_sum_across)
sum_along = compile_kernel(_sum_along)
sum_evenly_across = compile_kernel(_sum_evenly_across)
sum_evenly_along = compile_kernel(_sum_evenly_along)
