"""Products of two pictures summed over tiles, for all displacements by up to three pixels.

As in `room`, all that is at hand lies in one flat array at distances the compiler knows.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.compiled.columns import sum_one, sum_seven, sum_three
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
Mask = NDArray[np.bool_]
Address = Any

_TILES = 8
"""Side by side in the array at hand; more take turns."""
_WIDTH = 16 * _TILES
W, B = U(_WIDTH), U(_WIDTH + 16)
"""From a row to the next: of tiles, of tiles and some pixels about them."""
NEAR = U(0)
"""The still picture about the tiles: 22 rows."""
FAR = NEAR + U(22) * B
"""The other one, where it is looked for."""
OURS = FAR + U(22) * B
"""Samples of the tiles; their slopes right and down lie behind: three times 16 rows."""
PART = U(16) * W
SQUARES = OURS + U(3) * PART
"""Of the other picture: 18 rows."""
WEIGHT = SQUARES + U(18) * B
"""1 for what counts, else 0: 16 rows."""
ONES = WEIGHT + PART
SIZE = int(ONES + PART)


def _widen_rows(bits: Bits, top: int, left: int, room: Floats, start: Address) -> None:
    """Turn 22 rows of halves into floats, as far as the array at hand and the picture reach."""
    columns = min(U(bits.shape[1] - left), B)
    for y in range(22):
        row, line = bits[top + y, left:], room[start + U(y) * B :]
        for x in range(columns):
            line[x] = unpack(row[x])


widen_rows = compile_kernel(_widen_rows)


def _take_slopes(room: Floats, slope: Floats, width: Any) -> None:
    """Put the samples of the tiles into their place, and their slopes right and down."""
    s1, s2, s3 = slope[0], slope[1], slope[2]
    one, two, three = U(1), U(2), U(3)
    for y in range(U(16)):
        here, out = NEAR + (y + three) * B + three, OURS + y * W
        for x in range(U(width)):
            p, q = here + x, out + x
            room[q] = room[p]
            right = fused(s2, room[p + two] - room[p - two], s1 * (room[p + one] - room[p - one]))
            room[q + PART] = fused(s3, room[p + three] - room[p - three], right)
            down = fused(
                s2, room[p + two * B] - room[p - two * B], s1 * (room[p + B] - room[p - B])
            )
            room[q + two * PART] = fused(s3, room[p + three * B] - room[p - three * B], down)


def _take_squares(room: Floats) -> None:
    """Square the other picture, with a pixel more on every side."""
    for y in range(U(18)):
        here, out = FAR + (y + U(2)) * B + U(2), SQUARES + y * B
        for x in range(W + U(2)):
            room[out + x] = room[here + x] * room[here + x]


def _count_masked(line: Floats, mask: Any) -> Any:
    """Set a line to 0 where a mask isn't, and count where."""
    masked = np.int64(0)
    for x in range(U(line.size)):
        line[x] = line[x] if mask[x] else np.float32(0)
        masked += not mask[x]
    return masked


count_masked = compile_kernel(_count_masked)


def _take_weight(  # noqa: PLR0917  # where it lies in both
    still: Mask, top: int, left: int, other: Mask, other_top: int, other_left: int, room: Floats,
    width: Any,
) -> bool:  # fmt: skip
    """Put 1 where both pictures count, else 0; return whether there is a 0.

    A mask of no size counts everywhere.
    """
    masked = np.int64(0)
    for y in range(16):
        line = room[WEIGHT + U(y) * W : WEIGHT + U(y) * W + U(width)]
        for x in range(U(line.size)):
            line[x] = 1
        if still.size:
            masked += count_masked(line, still[top + y, left : left + width])
        if other.size:
            masked += count_masked(line, other[other_top + y, other_left : other_left + width])
    return bool(masked > 0)


def _weigh(room: Floats) -> None:
    """Multiply what lies in three parts by the weight."""
    for part in range(U(3)):
        for i in range(PART):
            room[OURS + part * PART + i] *= room[WEIGHT + i]


take_slopes = compile_kernel(_take_slopes)
take_squares = compile_kernel(_take_squares)
take_weight = compile_kernel(_take_weight)
weigh = compile_kernel(_weigh)


def _sum_products(room: Floats, counts: Address, told: NDArray[np.float64]) -> None:
    """Sum all products of the tiles at hand; `counts` is where their weight lies."""
    for tile in range(U(told.shape[0])):
        x = tile * U(16)
        for across in range(U(7)):
            sums = sum_seven(room, OURS + x, W, FAR + across + x, B)
            for down in range(U(7)):
                told[tile, down * U(7) + across] = sums[down]
        for across in range(U(3)):
            squares = sum_three(room, counts + x, W, SQUARES + across + x, B)
            for down in range(U(3)):
                told[tile, U(49) + down * U(3) + across] = squares[down]
        number = U(58)
        for one in range(U(3)):
            for two in range(one, U(3)):
                here, there = OURS + one * PART + x, OURS + two * PART + x
                told[tile, number] = sum_one(room, here, W, there, W)[0]
                number += U(1)
        told[tile, number] = sum_one(room, counts + x, W, ONES + x, W)[0]


sum_products = compile_kernel(_sum_products)


def _sum_runs(  # noqa: PLR0917  # one walk: calls cost time
    still: Bits, other: Bits, still_valid: Mask, other_valid: Mask, runs: NDArray[np.int64],
    slope: Floats, told: NDArray[np.float64],
) -> None:  # fmt: skip
    """Sum over runs of tiles that lie side by side.

    `still` and `other` are bits of halves, of the masks one of no size counts everywhere. Of each
    run (5) are told its top and left in the one and in the other, and how many tiles it has; both
    pictures reach 3 pixels further on every side. What doesn't count multiplies `still` and its
    slopes and the squares of `other` by 0. `slope` is the derivative at a sample, of samples 1, 2
    and 3 to its right. `told` (tiles of all runs, SUMS).
    """
    room = np.zeros(SIZE, np.float32)
    room[ONES : ONES + PART] = 1
    first = 0
    for number in range(runs.shape[0]):
        top, left, other_top, other_left, tiles = runs[number]
        for begun in range(0, tiles, _TILES):
            here = told[first + begun : first + min(begun + _TILES, tiles)]
            x, width = begun * 16, here.shape[0] * 16
            widen_rows(still, top - 3, left + x - 3, room, NEAR)
            widen_rows(other, other_top - 3, other_left + x - 3, room, FAR)
            take_slopes(room, slope, width)
            take_squares(room)
            counts = ONES
            if take_weight(
                still_valid, top, left + x, other_valid, other_top, other_left + x, room, width
            ):
                counts = WEIGHT
                weigh(room)
            sum_products(room, counts, here)
        first += tiles


_HALVES, _MASK = constant("int16[:, ::1]"), constant("boolean[:, ::1]")

sum_runs: Any = compile_kernel(
    _sum_runs,
    numba.void(
        _HALVES, _HALVES, _MASK, _MASK, constant("int64[:, ::1]"), constant("float32[::1]"),
        numba.float64[:, ::1],
    ),
)  # fmt: skip
