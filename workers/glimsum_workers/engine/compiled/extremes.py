"""The darkest and brightest sample of every block of 4 x 4 pixels, and the lamps they tell of."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.compiled.halves import unpack
from glimsum_workers.engine.compiled.kernel import compile_kernel, constant, numba
from glimsum_workers.engine.compiled.room import ACROSS, ALONG, SIZE, SOURCE, TILE, T, W
from glimsum_workers.engine.compiled.tile_rows import Bits, Samples, take_row

U = np.uintp
Plane = NDArray[np.int16]
_BLOCK = 4
_HIGH, _LOW = ACROSS, ALONG
_BITS = np.int16(0x7FFF)
_ENDLESS = np.int16(0x7C00)
"""Bits of a half from which on it is no number (IEEE 754-2019, binary16)."""


def _find_extremes(  # noqa: C901, PLR0917  # one walk: calls cost time
    pixels: Samples, bits: Bits, is_half: bool, how: int, matrix: Samples, high: Samples,
    low: Samples,
) -> None:  # fmt: skip
    """Put the extremes of ``matrix @ source`` into `high` and `low`: (3, block rows, columns)."""
    if is_half:
        height, width = bits[0].shape
    else:
        height, width = pixels.shape[0], pixels.shape[1]
    room = np.zeros(SIZE, np.float32)
    for row in range(high.shape[1]):
        for x in range(0, width, TILE):
            n = min(TILE, width - x)
            # A block that is cut off at the edge gets its last column again.
            count = U((n + _BLOCK - 1) // _BLOCK * _BLOCK)
            for y in range(row * _BLOCK, min((row + 1) * _BLOCK, height)):
                take_row(room, SOURCE, pixels, bits, is_half, y, x, int(count), how, matrix)
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
            first = x // _BLOCK
            for index in range(3):
                above, below = _HIGH + U(index) * T, _LOW + U(index) * T
                for block in range(int(count) // _BLOCK):
                    at: Any = U(_BLOCK * block)
                    a, b = room[above + at], room[above + at + U(1)]
                    c, d = room[above + at + U(2)], room[above + at + U(3)]
                    high[index, row, first + block] = max(a, b, c, d)
                    a, b = room[below + at], room[below + at + U(1)]
                    c, d = room[below + at + U(2)], room[below + at + U(3)]
                    low[index, row, first + block] = min(a, b, c, d)


def _order(half: Any) -> Any:
    """Return a half's bits so that integers have the order of what they stand for."""
    return np.int16(half ^ ((half >> np.int16(15)) & _BITS))


order: Any = compile_kernel(_order)


def _span_rows(
    bits: Plane, first: int, end: int, above: NDArray[np.int16], below: NDArray[np.int16]
) -> Any:
    """Put the ordered extremes of rows down each column; return the largest size, in bits."""
    width = bits.shape[1]
    for y in range(first, end, 2):
        upper, lower = bits[y], bits[min(y + 1, end - 1)]
        if y == first:
            for x in range(U(width)):
                a, b = order(upper[x]), order(lower[x])
                above[x], below[x] = max(a, b), min(a, b)
        else:
            for x in range(U(width)):
                a, b = order(upper[x]), order(lower[x])
                above[x], below[x] = max(above[x], a, b), min(below[x], a, b)
    largest: Any = np.int16(0)
    for x in range(U(width)):
        largest = max(largest, above[x], ~below[x])
    return largest


def _span_finite_rows(
    bits: Plane, first: int, end: int, above: NDArray[np.int16], below: NDArray[np.int16]
) -> Any:
    """Do what `_span_rows` does with 0 for what is no number; return how many those are."""
    above[:] = np.int16(-0x8000)
    below[:] = np.int16(0x7FFF)
    bad: Any = 0
    for y in range(first, end):
        line = bits[y]
        for x in range(bits.shape[1]):
            is_number = (line[x] & _BITS) < _ENDLESS
            half = order(line[x] if is_number else np.int16(0))
            above[x], below[x] = max(above[x], half), min(below[x], half)
            bad += not is_number
    return bad


span_rows: Any = compile_kernel(_span_rows)
span_finite_rows: Any = compile_kernel(_span_finite_rows)


def _find_plane_extremes(bits: Plane, gain: np.float32, high: Samples, low: Samples) -> Any:
    """Put the extremes of ``gain * plane`` into (block rows, columns); `gain` is above 0.

    Returns how many halves are no numbers; they count as 0. They are larger than all numbers,
    so rows without any are found by their largest.
    """
    height, width = bits.shape
    wide = (width + _BLOCK - 1) // _BLOCK * _BLOCK
    above, below = np.empty(wide, np.int16), np.empty(wide, np.int16)
    most, least = np.empty(wide // _BLOCK, np.int16), np.empty(wide // _BLOCK, np.int16)
    unfinite: Any = 0
    for row in range(high.shape[0]):
        first, end = row * _BLOCK, min((row + 1) * _BLOCK, height)
        if span_rows(bits, first, end, above, below) >= _ENDLESS:
            unfinite += span_finite_rows(bits, first, end, above, below)
        for x in range(width, wide):
            above[x], below[x] = above[width - 1], below[width - 1]
        for block in range(U(most.size)):
            at = U(_BLOCK) * block
            most[block] = max(above[at], above[at + U(1)], above[at + U(2)], above[at + U(3)])
        for block in range(U(least.size)):
            at = U(_BLOCK) * block
            least[block] = min(below[at], below[at + U(1)], below[at + U(2)], below[at + U(3)])
        for block in range(U(most.size)):
            high[row, block] = gain * unpack(order(most[block]))
            low[row, block] = gain * unpack(order(least[block]))
    return unfinite


def _find_lamps(high: Samples, low: Samples, floor: np.float32, lamps: Any) -> None:
    """Mark blocks that, with their eight neighbours, hold twice their darkest and `floor`."""
    rows, columns = lamps.shape
    most, least = np.empty(columns + 2, np.float32), np.empty(columns + 2, np.float32)
    for row in range(rows):
        top, bottom = max(row - 1, 0), min(row + 1, rows - 1)
        lamps[row] = False
        for index in range(3):
            a, b, c = high[index, top], high[index, row], high[index, bottom]
            for x in range(columns):
                most[x + 1] = max(a[x], b[x], c[x])
            a, b, c = low[index, top], low[index, row], low[index, bottom]
            for x in range(columns):
                least[x + 1] = min(a[x], b[x], c[x])
            most[0], most[columns + 1] = most[1], most[columns]
            least[0], least[columns + 1] = least[1], least[columns]
            for x in range(columns):
                bright = max(most[x], most[x + 1], most[x + 2])
                dark = min(least[x], least[x + 1], least[x + 2])
                lamps[row, x] |= bright > np.float32(2) * max(dark, np.float32(0)) + floor


_BLOCKS, _MADE = constant("float32[:, :, ::1]"), numba.float32[:, :, ::1]
_PLANE = numba.float32[:, ::1]

find_extremes: Any = compile_kernel(
    _find_extremes,
    numba.void(
        constant("float32[:, :, ::1]"),
        numba.types.UniTuple(constant("int16[:, ::1]"), 3),
        numba.boolean,
        numba.int64,
        constant("float32[:, ::1]"),
        _MADE,
        _MADE,
    ),
)
find_plane_extremes: Any = compile_kernel(
    _find_plane_extremes, numba.int64(constant("int16[:, ::1]"), numba.float32, _PLANE, _PLANE)
)
find_lamps: Any = compile_kernel(
    _find_lamps, numba.void(_BLOCKS, _BLOCKS, numba.float32, numba.boolean[:, ::1])
)
