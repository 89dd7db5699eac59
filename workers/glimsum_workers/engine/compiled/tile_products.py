"""Products of two pictures summed over tiles, for all displacements by up to three pixels."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.compiled.fused import fused
from glimsum_workers.engine.compiled.halves import unpack
from glimsum_workers.engine.compiled.kernel import compile_kernel, constant, numba

U = np.uintp
SUMS = 49 + 9 + 6 + 1
"""Numbers told of each tile of 16 x 16 pixels: products with the other picture displaced by -3 to 3
pixels down and right; its squares displaced by -1 to 1; products of the picture and its slopes
right and down; pixels that count."""

Bits = NDArray[np.int16]
Floats = NDArray[np.float32]


def _widen_rows(  # noqa: PLR0917  # as below
    bits: Bits, top: int, left: int, rows: int, width: Any, out: Floats
) -> None:
    """Turn a patch of halves into floats, row after row of `width`."""
    for y in range(rows):
        row = bits[top + y, left : left + width]
        line = out[y * width : (y + 1) * width]
        for x in range(U(width)):
            line[x] = unpack(row[x])


def _sum_rows(  # noqa: PLR0917  # asked for in a loop
    one: Floats, first: Any, apart: Any, other: Floats, second: Any, beside: Any, line: Floats,
    width: Any,
) -> None:  # fmt: skip
    """Sum products over the 16 rows of a tile, column by column."""
    for x in range(U(width)):
        a, b = U(first) + x, U(second) + x
        total = one[a] * other[b]
        for y in range(U(1), U(16)):
            total = fused(one[a + y * U(apart)], other[b + y * U(beside)], total)
        line[x] = total


sum_rows = compile_kernel(_sum_rows)
widen_rows = compile_kernel(_widen_rows)


def _add_columns(line: Floats, told: NDArray[np.float64], number: int) -> None:
    """Add up the 16 columns of each tile, in float64, two by two."""
    for tile in range(U(told.shape[0])):
        at = tile * U(16)
        fours = np.float64(0)
        for part in range(U(4)):
            p = at + part * U(4)
            fours += (np.float64(line[p]) + np.float64(line[p + U(1)])) + (
                np.float64(line[p + U(2)]) + np.float64(line[p + U(3)])
            )
        told[tile, number] = fours


add_columns = compile_kernel(_add_columns)


def _take_slopes(near: Floats, slope: Floats, ours: Floats, width: Any) -> None:
    """Put the samples of a run into ``ours[0]``, their slopes right and down beside them."""
    s1, s2, s3 = slope[0], slope[1], slope[2]
    wide, one, two, three = U(width) + U(6), U(1), U(2), U(3)
    for y in range(16):
        here, out = U(y + 3) * wide + three, U(y) * U(width)
        for x in range(U(width)):
            p, q = here + x, out + x
            ours[0, q] = near[p]
            right = fused(s2, near[p + two] - near[p - two], s1 * (near[p + one] - near[p - one]))
            ours[1, q] = fused(s3, near[p + three] - near[p - three], right)
            down = fused(
                s2, near[p + two * wide] - near[p - two * wide],
                s1 * (near[p + wide] - near[p - wide]),
            )  # fmt: skip
            ours[2, q] = fused(s3, near[p + three * wide] - near[p - three * wide], down)


def _take_squares(far: Floats, squares: Floats, width: Any) -> None:
    """Put the squares of a run, with a pixel more on every side, into rows of `width` and 2."""
    for y in range(18):
        here, out = U(y + 2) * U(width + 6) + U(2), U(y) * U(width + 2)
        for x in range(U(width + 2)):
            squares[out + x] = far[here + x] * far[here + x]


take_slopes = compile_kernel(_take_slopes)
take_squares = compile_kernel(_take_squares)


def _weigh(ours: Floats, weight: Floats) -> None:
    """Multiply each of three patches by `weight`."""
    plain = weight.reshape(-1)
    for part in range(3):
        for i in range(U(plain.size)):
            ours[part, i] *= plain[i]


weigh = compile_kernel(_weigh)


def _sum_products(  # noqa: PLR0917  # one walk: calls cost time
    still: Bits, top: int, left: int, other: Bits, other_top: int, other_left: int,
    weight: Floats, weighted: bool, slope: Floats, told: NDArray[np.float64],
) -> None:  # fmt: skip
    """Sum over a run of tiles that lie side by side.

    `still` and `other` are bits of halves; the run begins at (top, left) in the one and at
    (other_top, other_left) in the other, and both reach 3 pixels further on every side. `weight`
    (16, width) multiplies `still` and its slopes and the squares of `other` where `weighted`.
    `slope` is the derivative at a sample, of samples 1, 2 and 3 to its right. `told` (tiles, SUMS).
    """
    width = told.shape[0] * 16
    wide = width + 6
    near, far = np.empty(22 * wide, np.float32), np.empty(22 * wide, np.float32)
    widen_rows(still, top - 3, left - 3, 22, wide, near)
    widen_rows(other, other_top - 3, other_left - 3, 22, wide, far)
    ours = np.empty((3, 16 * width), np.float32)
    squares = np.empty(18 * (width + 2), np.float32)
    take_slopes(near, slope, ours, width)
    take_squares(far, squares, width)
    ones, line = np.ones(width, np.float32), np.empty(width, np.float32)
    # Without weights every row counts by the same row of ones.
    counts, apart = (weight.reshape(-1), width) if weighted else (ones, 0)
    if weighted:
        weigh(ours, weight)
    for cell in range(49):
        start = (cell // 7) * wide + cell % 7
        sum_rows(ours[0], 0, width, far, start, wide, line, width)
        add_columns(line, told, cell)
    for cell in range(9):
        start = (cell // 3) * (width + 2) + cell % 3
        sum_rows(counts, 0, apart, squares, start, width + 2, line, width)
        add_columns(line, told, 49 + cell)
    number = 58
    for one in range(3):
        for two in range(one, 3):
            sum_rows(ours[one], 0, width, ours[two], 0, width, line, width)
            add_columns(line, told, number)
            number += 1
    sum_rows(counts, 0, apart, ones, 0, 0, line, width)
    add_columns(line, told, number)


_HALVES = constant("int16[:, ::1]")

sum_products: Any = compile_kernel(
    _sum_products,
    numba.void(
        _HALVES, numba.int64, numba.int64, _HALVES, numba.int64, numba.int64,
        constant("float32[:, ::1]"), numba.boolean, constant("float32[::1]"), numba.float64[:, ::1],
    ),
)  # fmt: skip
