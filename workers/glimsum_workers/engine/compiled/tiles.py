"""A tile of a picture pulled on to another's geometry, added to what was laid there before."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.compiled.ahead import LINE_BYTES, fetch_row
from glimsum_workers.engine.compiled.bands import rows_alike, set_band
from glimsum_workers.engine.compiled.kernel import compile_kernel
from glimsum_workers.engine.compiled.room import (
    ACROSS,
    ACROSS_STEPS,
    ALONG,
    ALONG_STEPS,
    LINES,
    MADE,
    MIDDLE,
    SOURCE,
    SUM,
    Room,
    T,
    W,
    sum_across,
    sum_along,
    sum_evenly_across,
    sum_evenly_along,
)
from glimsum_workers.engine.compiled.tile_limits import NOTHING, limit_row
from glimsum_workers.engine.compiled.tile_rows import Bits, Samples, add_row, take_row

U = np.uintp
_MIDDLE_LINE, _SOURCE_LINE = U(3) * T, U(3) * W
_AHEAD = 2
"""Rows; what is fetched further ahead may be pushed out before it is used."""
_SLACK = 12
"""Source rows at hand beyond those a new row needs: the fewer, the more stays in the cache."""
_REACH = 8
"""Rows; more than a new sample's source rows lie from its place."""

Hand = tuple[NDArray[Any], ...]
"""What a tile is made with: lefts, columns, rows, ends of both, marks, lit blocks."""


def _move_up(room: Room, lefts: NDArray[np.int64], lines: int, kept: int) -> None:
    """Forget the first `lines` source rows at hand; `kept` come after them."""
    for i in range(U(kept) * _MIDDLE_LINE):
        room[MIDDLE + i] = room[MIDDLE + U(lines) * _MIDDLE_LINE + i]
    for i in range(U(kept) * _SOURCE_LINE):
        room[SOURCE + i] = room[SOURCE + U(lines) * _SOURCE_LINE + i]
    for i in range(kept):
        lefts[i] = lefts[i + lines]


move_up = compile_kernel(_move_up)


def _mark_lit(  # noqa: PLR0917  # asked for in a loop
    lit: NDArray[np.bool_], lamps: NDArray[np.bool_], place: tuple[float, ...], x: int, n: int,
    first_row: int, end_row: int,
) -> None:  # fmt: skip
    """Mark the rows of blocks that hold a lamp where a tile may take samples from."""
    a, b, right, c, d, down = place
    low, high, top, bottom = np.inf, -np.inf, np.inf, -np.inf
    for column in (x, x + n):
        for row in (first_row, end_row):
            low, high = (min(low, a * column + b * row + right),
                         max(high, a * column + b * row + right))  # fmt: skip
            top, bottom = (min(top, c * column + d * row + down),
                           max(bottom, c * column + d * row + down))  # fmt: skip
    last_block, last_column = lamps.shape[0] - 1, lamps.shape[1] - 1
    left = min(max((int(np.floor(low)) - 1) >> 2, 0), last_column)
    end = min(max((int(np.floor(high)) + 1) >> 2, 0), last_column) + 1
    first = min(max((int(np.floor(top)) - _REACH) >> 2, 0), last_block)
    last = min(max((int(np.floor(bottom)) + _REACH) >> 2, 0), last_block)
    for block in range(first, last + 1):
        lit[block] = lamps[block, left:end].any()


mark_lit = compile_kernel(_mark_lit)


def _add_moved_tile(  # noqa: C901, PLR0912, PLR0915, PLR0917  # one walk: calls cost time
    room: Room, hand: Hand, x: int, n: int, first_row: int, end_row: int, pixels: Samples,
    bits: Bits, is_half: bool, how_in: int, matrix_in: Samples, place: tuple[float, ...],
    table: Samples, lamps: NDArray[np.bool_], limited: bool, how_out: int, matrix_out: Samples,
    matte: Samples, matted: bool,
) -> None:  # fmt: skip
    """Add the samples at ``(a x + b y + right, c x + d y + down)`` to the sum, in two passes."""
    lefts, columns, rows, column_ends, row_ends, marked, lit = hand
    a, b, right, c, d, down = place
    lean = b / d
    wide, start = a - lean * c, right - lean * down
    band_across, band_along = rows_alike(lean), rows_alike(d - 1)
    even_across, even_along = wide == 1 and lean == 0, c == 0 and d == 1
    last_block = lamps.shape[0] - 1
    marked[:] = NOTHING
    if limited:
        mark_lit(lit, lamps, place, x, n, first_row, end_row)
    first = int(np.floor(min(c * x, c * (x + n - 1)) + d * first_row + down)) - 5
    line, across_from, along_from, across_middle, along_middle = first, 0, 0, 0.0, 0.0
    column_runs, row_runs = 0, 0
    for y in range(first_row, end_row):
        if row_runs == 0 or y - along_from >= band_along:
            along_from = y
            span = 1 if d == 1 else min(band_along, end_row - y)
            along_middle = y + 0.5 * (span - 1)
            row_runs = set_band(room, table, ALONG, ALONG_STEPS, rows, row_ends, n,
                                c * x + d * y + down, c, 0, d - 1, span)  # fmt: skip
        step = y - along_from
        top = bottom = rows[0]
        for run in range(row_runs):
            top = min(top, rows[row_ends[run] - 1])
            bottom = max(bottom, rows[row_ends[run] - 1])
        top += step - 4
        bottom += step + 5
        deep = min(LINES, bottom - top + _SLACK)
        while line <= bottom:
            if column_runs == 0 or line - across_from >= band_across:
                across_from = line
                span = 1 if lean == 0 else band_across
                across_middle = line + 0.5 * (span - 1)
                column_runs = set_band(
                    room, table, ACROSS, ACROSS_STEPS, columns, column_ends, n,
                    wide * x + lean * line + start, wide, 1, lean, span,
                )  # fmt: skip
            if line - first >= deep:
                move_up(room, lefts, top - first, line - top)
                first = top
            slot, left = line - first, columns[0] - 5
            lefts[slot] = left
            source = SOURCE + U(slot) * _SOURCE_LINE
            if is_half:
                for index in range(3):
                    fetch_row(bits[index], line + _AHEAD, left, left + n, LINE_BYTES // 2)
            else:
                fetch_row(pixels, line + _AHEAD, left, left + n, LINE_BYTES // 12)
            take_row(room, source, pixels, bits, is_half, line, left,
                     columns[n - 1] + 7 - left, how_in, matrix_in)  # fmt: skip
            middle = MIDDLE + U(slot) * _MIDDLE_LINE
            begin = 0
            for run in range(column_runs):
                end = column_ends[run]
                taken = source + U(columns[begin] - 3 - left)
                if even_across:
                    sum_evenly_across(room, ACROSS, taken, middle + U(begin), U(end - begin))
                else:
                    sum_across(room, ACROSS + U(begin), ACROSS_STEPS + U(begin),
                               np.float32(line - across_middle), taken, middle + U(begin),
                               U(end - begin))  # fmt: skip
                begin = end
            line += 1
        begin = 0
        for run in range(row_runs):
            end = row_ends[run]
            middle = MIDDLE + U(rows[begin] + step - 3 - first) * _MIDDLE_LINE + U(begin)
            if even_along:
                sum_evenly_along(room, ALONG, middle, MADE + U(begin), U(end - begin))
            else:
                sum_along(room, ALONG + U(begin), ALONG_STEPS + U(begin),
                          np.float32(y - along_middle), middle, MADE + U(begin),
                          U(end - begin))  # fmt: skip
            begin = end
        if limited:
            upper = min(max((top + 3) >> 2, 0), last_block)
            lower = min(max((bottom - 4) >> 2, 0), last_block)
            if lit[upper : lower + 1].any():
                limit_row(room, y, x, n, place, lamps, lefts, first, marked)
        add_row(room, MADE, T, n, SUM + U(y - first_row) * U(3) * T, how_out, matrix_out,
                matte[y, x : x + n] if matted else matte[0], matted)  # fmt: skip


add_moved_tile: Any = compile_kernel(_add_moved_tile)
