"""A round of least squares over tiles: written down in `registration.solve`.

Tiles lie in batches; all that is known of a batch lies in one flat array at distances the compiler
knows, number by number. Sums go lane by lane, in one order whatever the processor.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.compiled.kernel import compile_kernel, constant, numba

U = np.uintp
Numbers = NDArray[np.float64]
Address = Any

LANES = 128
"""Tiles of a batch."""
L = U(LANES)
XX, XY, YY = U(0) * L, U(1) * L, U(2) * L
"""What a tile knows of its displacement."""
SCORE_X, SCORE_Y = U(3) * L, U(4) * L
ROBUST = U(5) * L
WEIGHT_XX, WEIGHT_XY, WEIGHT_YY = U(6) * L, U(7) * L, U(8) * L
"""Of its displacement, its misfit counted."""
TARGET_X, TARGET_Y = U(9) * L, U(10) * L
"""The weight times the displacement it asks for, then times the one that is left."""
LEFT_X, LEFT_Y = U(11) * L, U(12) * L
"""The displacement that is left."""
FAR = U(13) * L
"""Its square in deviations."""
HEAVY_X, HEAVY_Y = U(14) * L, U(15) * L
ACROSS, DOWN = U(16) * L, U(22) * L
"""How the tile moves with each of up to six parameters."""
SIZE = 28 * LANES


def _lay_tiles(information: Numbers, score: Numbers, basis: Numbers, batches: Numbers) -> None:
    """Put n tiles into batches of zeros.

    `information` (3, n), `score` (2, n), `basis` (n, 2, p), `batches` (n / LANES upwards, SIZE).
    """
    for tile in range(U(basis.shape[0])):
        batch, lane = batches[tile // L], tile % L
        batch[XX + lane] = information[0, tile]
        batch[XY + lane] = information[1, tile]
        batch[YY + lane] = information[2, tile]
        batch[SCORE_X + lane] = score[0, tile]
        batch[SCORE_Y + lane] = score[1, tile]
        for one in range(U(basis.shape[2])):
            batch[ACROSS + one * L + lane] = basis[tile, 0, one]
            batch[DOWN + one * L + lane] = basis[tile, 1, one]


def _weigh_batch(batch: Numbers, square: float) -> None:
    """Pull each tile's displacement towards 0, and reduce its weight, by a misfit squared.

    The weight is (information^-1 + square)^-1; what knows one direction only is never inverted.
    """
    for i in range(L):
        xx, xy, yy = batch[XX + i], batch[XY + i], batch[YY + i]
        across, along, down = 1 + square * xx, square * xy, 1 + square * yy
        share = 1 / (across * down - along * along)
        a, b, d = down * share, -along * share, across * share
        batch[WEIGHT_XX + i] = a * xx + b * xy
        batch[WEIGHT_XY + i] = a * xy + b * yy
        batch[WEIGHT_YY + i] = b * xy + d * yy
        batch[TARGET_X + i] = a * batch[SCORE_X + i] + b * batch[SCORE_Y + i]
        batch[TARGET_Y + i] = b * batch[SCORE_X + i] + d * batch[SCORE_Y + i]


def _add_heavy(batch: Numbers, way: Address, lanes: Numbers) -> None:
    """Add what a parameter is asked for to `lanes`; leave its weighted basis in the batch."""
    for i in range(L):
        x, y, share = batch[ACROSS + way + i], batch[DOWN + way + i], batch[ROBUST + i]
        batch[HEAVY_X + i] = share * (batch[WEIGHT_XX + i] * x + batch[WEIGHT_XY + i] * y)
        batch[HEAVY_Y + i] = share * (batch[WEIGHT_XY + i] * x + batch[WEIGHT_YY + i] * y)
        lanes[i] += share * (batch[TARGET_X + i] * x + batch[TARGET_Y + i] * y)


def _add_pair(batch: Numbers, way: Address, lanes: Numbers) -> None:
    """Add the products of the weighted basis with a parameter's to `lanes`."""
    for i in range(L):
        x, y = batch[ACROSS + way + i], batch[DOWN + way + i]
        lanes[i] += batch[HEAVY_X + i] * x + batch[HEAVY_Y + i] * y


weigh_batch = compile_kernel(_weigh_batch)
add_heavy = compile_kernel(_add_heavy)
add_pair = compile_kernel(_add_pair)


def _weigh_tiles(
    batches: Numbers, robust: Numbers, misfit: float, matrix: Numbers, right: Numbers
) -> None:
    """Weigh n tiles for a misfit, and sum the normal equations of p parameters.

    `robust` (n) is what counts of each tile. Fills `matrix` (p, p) and `right` (p).
    """
    size = U(right.size)
    lanes = np.zeros((right.size * (right.size + 3) // 2, LANES))
    for number in range(U(batches.shape[0])):
        batch, first = batches[number], number * L
        here = robust[first : first + L]
        for i in range(U(here.size)):
            batch[ROBUST + i] = here[i]
        weigh_batch(batch, misfit * misfit)
        row = U(0)
        for one in range(size):
            add_heavy(batch, one * L, lanes[row])
            for two in range(U(one + U(1))):
                add_pair(batch, two * L, lanes[row + U(1) + two])
            row += one + U(2)
    row = U(0)
    for one in range(size):
        right[one] = lanes[row].sum()
        for two in range(U(one + U(1))):
            matrix[one, two] = matrix[two, one] = lanes[row + U(1) + two].sum()
        row += one + U(2)


def _move_batch(batch: Numbers, way: Address, by: float) -> None:
    """Add a parameter's part of a motion to the heavy rows."""
    for i in range(L):
        batch[HEAVY_X + i] += by * batch[ACROSS + way + i]
        batch[HEAVY_Y + i] += by * batch[DOWN + way + i]


def _leave_batch(batch: Numbers) -> None:
    """Take the motion in the heavy rows off what the tiles ask for, and say how far that is."""
    for i in range(L):
        xx, xy, yy = batch[WEIGHT_XX + i], batch[WEIGHT_XY + i], batch[WEIGHT_YY + i]
        x = batch[TARGET_X + i] - (xx * batch[HEAVY_X + i] + xy * batch[HEAVY_Y + i])
        y = batch[TARGET_Y + i] - (xy * batch[HEAVY_X + i] + yy * batch[HEAVY_Y + i])
        batch[TARGET_X + i], batch[TARGET_Y + i] = x, y
        more = 0.02 * (xx + yy) + 1e-12
        a, d = xx + more, yy + more
        share = 1 / (a * d - xy * xy)
        batch[LEFT_X + i], batch[LEFT_Y + i] = (d * x - xy * y) * share, (a * y - xy * x) * share
        batch[FAR + i] = x * batch[LEFT_X + i] + y * batch[LEFT_Y + i]


move_batch = compile_kernel(_move_batch)
leave_batch = compile_kernel(_leave_batch)


def _take_off(batches: Numbers, change: Numbers, moved: Numbers, left: Numbers) -> None:
    """Take a motion (p) off what n weighed tiles ask for.

    `moved` (2, n) is told the motion; `left` (5, n) the weight times the displacement that is
    left, that displacement, and its square in deviations. For the last three a fiftieth of what a
    tile knows in all is added to both directions, since some know one only.
    """
    for number in range(U(batches.shape[0])):
        batch, first = batches[number], number * L
        for i in range(L):
            batch[HEAVY_X + i] = 0
            batch[HEAVY_Y + i] = 0
        for one in range(U(change.size)):
            move_batch(batch, one * L, change[one])
        leave_batch(batch)
        for i in range(min(L, U(left.shape[1]) - first)):
            moved[0, first + i], moved[1, first + i] = batch[HEAVY_X + i], batch[HEAVY_Y + i]
            left[0, first + i], left[1, first + i] = batch[TARGET_X + i], batch[TARGET_Y + i]
            left[2, first + i], left[3, first + i] = batch[LEFT_X + i], batch[LEFT_Y + i]
            left[4, first + i] = batch[FAR + i]


def _count_above(squares: Numbers, variance: Numbers, median: float, share: float) -> int:
    """Count the tiles whose square is above what noise and a common share of it explain."""
    above = 0
    for i in range(U(squares.size)):
        above += squares[i] > median * (variance[i] + share)
    return above


count_above = compile_kernel(_count_above)


def _find_square(squares: Numbers, variance: Numbers, median: float, steps: int) -> float:
    """Return the m**2 for which ``squares / (variance + m**2)`` has a median, the upper one.

    Rounded down by up to 2 to the power of 4 - `steps`, of it; where that is below 1e-28 of the
    largest there could be, 0. What is no number counts as small, what is infinite as large.
    """
    half = squares.size - squares.size // 2
    low, high = 0.0, 0.0
    for i in range(U(squares.size)):
        if squares[i] < np.inf:
            high = max(high, squares[i])
    high /= median
    for _ in range(24):  # at first in large steps: a single tile may be far off
        if count_above(squares, variance, median, high / 16) >= half:
            low = high / 16
            break
        high /= 16
    if low == 0:
        return low
    for _ in range(steps):
        between = (low + high) / 2
        if count_above(squares, variance, median, between) >= half:  # so the upper median is above
            low = between
        else:
            high = between
    return low


_TABLE, _LINE = constant("float64[:, ::1]"), constant("float64[::1]")
_OUT = numba.float64[:, ::1]

lay_tiles: Any = compile_kernel(
    _lay_tiles, numba.void(_TABLE, _TABLE, constant("float64[:, :, ::1]"), _OUT)
)
weigh_tiles: Any = compile_kernel(
    _weigh_tiles, numba.void(_OUT, _LINE, numba.float64, _OUT, numba.float64[::1])
)
take_off: Any = compile_kernel(_take_off, numba.void(_OUT, _LINE, _OUT, _OUT))
find_square: Any = compile_kernel(
    _find_square, numba.float64(_LINE, _LINE, numba.float64, numba.int64)
)
