"""Means about each pixel, and what a picture shows beside them, tile by tile.

As in `room`, all that is at hand lies in one flat array at distances the compiler knows.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.compiled.fused import fused
from glimsum_workers.engine.compiled.kernel import compile_kernel, constant, numba

U = np.uintp
Floats = NDArray[np.float32]
Address = Any

TAPS = 9
"""Of one half of a mean, its middle included; shorter ones end in zeros."""
_REACH = TAPS - 1
_ACROSS, _DOWN = 256, 32
"""Pixels of a tile."""
_WIDE = _ACROSS + 2 * _REACH
W = U(_WIDE)
MEAN = U((_DOWN + 2 * _REACH) * _WIDE)
"""Behind the rows of the picture: a row of means along columns, for all columns at hand."""
SHARP = MEAN + W
"""The same by the narrow mean."""
SIZE = SHARP + W


def _fill_room(plane: Floats, top: int, left: int, rows: int, room: Floats) -> None:
    """Copy what is about a tile; beyond its edges a picture goes on as it ends."""
    height, width = plane.shape
    for y in range(rows + 2 * _REACH):
        row = plane[min(max(top + y - _REACH, 0), height - 1)]
        first, start = left - _REACH, y * _WIDE
        before, after = max(-first, 0), min(width - first, _WIDE)
        room[start : start + before] = row[0]
        room[start + before : start + after] = row[first + before : first + after]
        room[start + after : start + _WIDE] = row[width - 1]


def _sum_wide(room: Floats, taps: Any, p: Address, apart: Address) -> Any:
    """Return the sum about one sample, the taps on both sides of it alike."""
    t0, t1, t2, t3, t4, t5, t6, t7, t8 = taps
    total = t0 * room[p]
    total = fused(t1, room[p - apart] + room[p + apart], total)
    total = fused(t2, room[p - U(2) * apart] + room[p + U(2) * apart], total)
    total = fused(t3, room[p - U(3) * apart] + room[p + U(3) * apart], total)
    total = fused(t4, room[p - U(4) * apart] + room[p + U(4) * apart], total)
    total = fused(t5, room[p - U(5) * apart] + room[p + U(5) * apart], total)
    total = fused(t6, room[p - U(6) * apart] + room[p + U(6) * apart], total)
    total = fused(t7, room[p - U(7) * apart] + room[p + U(7) * apart], total)
    return fused(t8, room[p - U(8) * apart] + room[p + U(8) * apart], total)


fill_room = compile_kernel(_fill_room)
sum_wide = compile_kernel(_sum_wide)


def _sum_down(room: Floats, taps: Any, start: Address) -> None:
    """Put the means along columns into the room, of the row of the picture at `start`."""
    half, quarter = np.float32(0.5), np.float32(0.25)
    for x in range(W):
        p = start + x
        room[MEAN + x] = sum_wide(room, taps, p, W)
        room[SHARP + x] = fused(quarter, room[p - W] + room[p + W], half * room[p])


def _sum_across(room: Floats, taps: Any, differs: bool, out: Floats) -> None:
    """Finish a row: its mean, or by how much the narrow mean is above that."""
    half, quarter, one = np.float32(0.5), np.float32(0.25), U(1)
    mean, sharp = MEAN + U(_REACH), SHARP + U(_REACH)
    if differs:
        for x in range(U(out.size)):
            p = sharp + x
            near = fused(quarter, room[p - one] + room[p + one], half * room[p])
            out[x] = near - sum_wide(room, taps, mean + x, one)
    else:
        for x in range(U(out.size)):
            out[x] = sum_wide(room, taps, mean + x, one)


sum_down = compile_kernel(_sum_down)
sum_across = compile_kernel(_sum_across)


def _pass_plane(
    plane: Floats, taps: Floats, differs: bool, wanted: NDArray[np.bool_], result: Floats
) -> None:
    """Put the mean of `plane` by symmetric taps into `result`, both in rows and columns.

    Where `differs` the mean with (1, 2, 1) / 4 less that one. `taps` (9) begin with the middle.
    Tiles in which nothing is `wanted` are left as they were; of no size: all are made.
    """
    height, width = plane.shape
    room = np.zeros(SIZE, np.float32)
    # As numbers of their own: else each would be read again for every sample.
    t = taps[0], taps[1], taps[2], taps[3], taps[4], taps[5], taps[6], taps[7], taps[8]
    for top in range(0, height, _DOWN):
        rows = min(_DOWN, height - top)
        for left in range(0, width, _ACROSS):
            right = min(left + _ACROSS, width)
            if wanted.size and not wanted[top : top + rows, left:right].any():
                continue
            fill_room(plane, top, left, rows, room)
            for y in range(rows):
                sum_down(room, t, U(y + _REACH) * W)
                sum_across(room, t, differs, result[top + y, left:right])


pass_plane: Any = compile_kernel(
    _pass_plane,
    numba.void(
        constant("float32[:, ::1]"), constant("float32[::1]"), numba.boolean,
        constant("boolean[:, ::1]"), numba.float32[:, ::1],
    ),
)  # fmt: skip
