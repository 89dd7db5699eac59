"""The eight taps of every column of a tile, over a band of rows that they change evenly in."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.compiled.fused import fused
from glimsum_workers.engine.compiled.kernel import compile_kernel
from glimsum_workers.engine.compiled.room import Address, Room, T

NODES = 4096
"""Fractions of a pixel in the table of taps."""
MARGIN = 16
"""Nodes before 0 and after 1 in that table."""

CHANGE_PX = 0.002
"""Over as many rows as a fraction takes to change by this, taps are taken to change evenly, as in
their middle: off by 2e-6 at most, a hundredth of what half floats round; more where the place
passes a whole pixel in between, for the outermost taps begin there with a step."""
_CURVE_PX = 0.08
"""Over as many columns as a fraction takes to change by this, taps are those of a cubic through
four of them: off by 1e-6 at most."""
_FEWEST_COLUMNS = 16
"""Below this a cubic takes longer than looking taps up."""

U = np.uintp
Table = NDArray[np.float32]
"""Taps at nodes, and beside them their rises to the next node: (nodes, 16)."""


def _rows_alike(change: float) -> int:
    """Return over how many rows fractions that change by `change` a row go evenly."""
    return 1 << 30 if change == 0 else max(1, int(min(CHANGE_PX / abs(change), 1e9)))


def _look_up(table: Table, fraction: float, tap: int) -> float:
    """Return one tap of a fraction, in float64."""
    place = fraction * NODES + MARGIN
    node = int(place)
    return np.float64(table[node, tap]) + (place - node) * np.float64(table[node, 8 + tap])


look_up = compile_kernel(_look_up)


def _weigh_columns(  # noqa: PLR0917  # asked for in a loop
    room: Room, table: Table, first: float, by_column: float, by_row: float, taps: Address,
    steps: Address, n: int,
) -> None:  # fmt: skip
    """Put the taps of `n` columns into the room, looked up, and how they change by row."""
    share = np.float32(by_row * NODES)
    for i in range(n):
        place = (first + by_column * i) * NODES + MARGIN
        node = int(place)
        part = np.float32(place - node)
        for tap in range(8):
            rise = table[node, 8 + tap]
            room[taps + U(tap) * T + U(i)] = table[node, tap] + part * rise
            room[steps + U(tap) * T + U(i)] = share * rise


def _curve_columns(  # noqa: PLR0917  # asked for in a loop
    room: Room, table: Table, first: float, by_column: float, by_row: float, taps: Address,
    steps: Address, n: int,
) -> None:  # fmt: skip
    """Put the taps of `n` columns into the room, on a cubic, and how they change by row."""
    third = by_column * (n - 1) / 3
    scale, share = np.float32(3.0 / (n - 1)), by_row / third
    for tap in range(8):
        # Newton's forward differences of four taps, and what they make of powers of the place.
        a, b = look_up(table, first, tap), look_up(table, first + third, tap)
        c, d = look_up(table, first + 2 * third, tap), look_up(table, first + 3 * third, tap)
        twice, thrice = c - 2 * b + a, d - 3 * c + 3 * b - a
        whole, square, cube = b - a - twice / 2 + thrice / 3, (twice - thrice) / 2, thrice / 6
        p, q, r, s = np.float32(a), np.float32(whole), np.float32(square), np.float32(cube)
        u = np.float32(share * whole)
        v, w = np.float32(share * 2 * square), np.float32(share * 3 * cube)
        at, step = taps + U(tap) * T, steps + U(tap) * T
        for i in range(U(n)):
            x = np.float32(np.int32(i)) * scale
            room[at + i] = fused(fused(fused(s, x, r), x, q), x, p)
            room[step + i] = fused(fused(w, x, v), x, u)


weigh_columns = compile_kernel(_weigh_columns)
curve_columns = compile_kernel(_curve_columns)


def _weigh_run(  # noqa: PLR0917  # asked for in a loop
    room: Room, table: Table, first: float, by_column: float, by_row: float, taps: Address,
    steps: Address, n: int,
) -> None:  # fmt: skip
    """Put the taps of columns whose fractions go on from `first` by `by_column` into the room.

    Where fractions are alike everywhere, those of the first column alone.
    """
    if by_column == 0:
        weigh_columns(room, table, first, 0.0, by_row, taps, steps, 1 if by_row == 0 else n)
        return
    longest = int(min(_CURVE_PX / abs(by_column), 1e9)) + 1
    for begin in range(0, n, longest):
        count, here = min(longest, n - begin), first + by_column * begin
        at, step = taps + U(begin), steps + U(begin)
        if count < _FEWEST_COLUMNS:
            weigh_columns(room, table, here, by_column, by_row, at, step, count)
        else:
            curve_columns(room, table, here, by_column, by_row, at, step, count)


def _find_runs(base: NDArray[np.int64], n: int, slide: int, ends: NDArray[np.int64]) -> int:
    """Return in how many runs `base` goes on by `slide` a column; their ends go into `ends`."""
    count = 0
    for i in range(1, n):
        if base[i] - base[i - 1] != slide:
            ends[count] = i
            count += 1
    ends[count] = n
    return count + 1


rows_alike: Any = compile_kernel(_rows_alike)
weigh_run = compile_kernel(_weigh_run)
find_runs = compile_kernel(_find_runs)


def _set_band(  # noqa: PLR0917  # asked for in a loop
    room: Room, table: Table, taps: Address, steps: Address, base: NDArray[np.int64],
    ends: NDArray[np.int64], n: int, start: float, by_column: float, slide: int, by_row: float,
    span: int,
) -> int:  # fmt: skip
    """Set the taps in the middle of a band of `span` rows, and what they change by a row.

    `start` is the place of its first row and column. Whole pixels go into `base`; returns in how
    many runs they go on by `slide` a column, whose ends go into `ends`.
    """
    at, change = start + 0.5 * by_row * (span - 1), by_column - slide
    for i in range(n):
        base[i] = (
            int(np.floor(at)) + slide * i if change == 0 else int(np.floor(at + by_column * i))
        )
    runs: int = find_runs(base, n, slide, ends)
    begin = 0
    for run in range(runs):
        first = at + by_column * begin - base[begin]
        weigh_run(room, table, first, change, by_row, taps + U(begin), steps + U(begin),
                  ends[run] - begin)  # fmt: skip
        begin = ends[run]
    return runs


set_band: Any = compile_kernel(_set_band)
