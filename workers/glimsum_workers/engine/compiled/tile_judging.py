"""What the sums over each tile say of its displacement: written down in `registration.tile_fit`."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.compiled.kernel import compile_kernel, constant, numba

U = np.uintp
Numbers = NDArray[np.float64]


def _read_cross(  # noqa: PLR0917  # asked for in a loop
    sums: Numbers, across: Numbers, across_slope: Numbers, down: Numbers, down_slope: Numbers,
    tile: Any,
) -> tuple[Any, Any, Any]:  # fmt: skip
    """Read the products of a tile between whole pixels: there, and their slopes right and down."""
    both, by_x, by_y = np.float64(0), np.float64(0), np.float64(0)
    for y in range(U(7)):
        row, row_slope = np.float64(0), np.float64(0)
        for x in range(U(7)):
            value = sums[tile, y * U(7) + x]
            row += value * across[x, tile]
            row_slope += value * across_slope[x, tile]
        both += row * down[y, tile]
        by_x += row_slope * down[y, tile]
        by_y += row * down_slope[y, tile]
    return both, by_x, by_y


def _read_energy(sums: Numbers, x: Any, y: Any, tile: Any) -> Any:
    """Read the squares of a tile by parabolas through -1, 0 and 1."""
    left, middle, right = x * (x - 1) / 2, 1 - x * x, x * (x + 1) / 2
    total = np.float64(0)
    for row in range(U(3)):
        here = U(49) + U(3) * row
        near = sums[tile, here] * left + sums[tile, here + U(1)] * middle
        near += sums[tile, here + U(2)] * right
        if row == 0:
            total += near * (y * (y - 1) / 2)
        elif row == 1:
            total += near * (1 - y * y)
        else:
            total += near * (y * (y + 1) / 2)
    return total


read_cross = compile_kernel(_read_cross)
read_energy = compile_kernel(_read_energy)


def _judge_tiles(  # noqa: PLR0917  # one walk: calls cost time
    sums: Numbers, fraction: Numbers,
    across: Numbers, across_slope: Numbers, down: Numbers, down_slope: Numbers,
    noise: float, alike: float, least: float,
    kept: NDArray[np.intp], score: Numbers, information: Numbers,
) -> int:  # fmt: skip
    """Tell of n tiles which are kept, and of those the slope and curvature of the likelihood.

    `sums` (n, 65) as in `tile_sums.TileSums`; `fraction` (n, 2) where they are read, and the taps
    for it, (7, n). Returns how many are kept; so much of `kept` (n), `score` (2, n) and
    `information` (3, n) is filled.
    """
    told = U(0)
    for tile in range(U(sums.shape[0])):
        count = sums[tile, 64]
        both, by_x, by_y = read_cross(sums, across, across_slope, down, down_slope, tile)
        summed = read_energy(sums, fraction[tile, 0], fraction[tile, 1], tile)
        square = max(sums[tile, 58], 1e-9)
        slope_x, slope_y = sums[tile, 59], sums[tile, 60]
        gain = both / square
        gain2 = gain * gain
        left = max((summed - gain * both) / (count - 3), 0.5 * noise * (1 + gain2))
        honest = max(gain2 - alike * left / square, 0.0)
        if not (gain2 * square / left > least and honest > 0 and square > noise * count):
            continue
        weight = 1.0 / (alike * left)
        share = gain * weight * (honest / max(gain2, 1e-30))
        kept[told] = tile
        score[0, told] = (by_x - gain * slope_x) * share
        score[1, told] = (by_y - gain * slope_y) * share
        known = honest * weight
        information[0, told] = (sums[tile, 61] - slope_x * slope_x / square) * known
        information[1, told] = (sums[tile, 62] - slope_x * slope_y / square) * known
        information[2, told] = (sums[tile, 63] - slope_y * slope_y / square) * known
        told += U(1)
    return int(told)


_TABLE = constant("float64[:, ::1]")

judge_tiles: Any = compile_kernel(
    _judge_tiles,
    numba.intp(
        _TABLE, _TABLE, _TABLE, _TABLE, _TABLE, _TABLE,
        numba.float64, numba.float64, numba.float64,
        numba.intp[::1], numba.float64[:, ::1], numba.float64[:, ::1],
    ),
)  # fmt: skip
