"""Means about each pixel, and what a picture shows beside them, tile by tile.

As in `room`, all that is at hand lies in one flat array at distances the compiler knows.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.compiled.fused import fused
from glimsum_workers.engine.compiled.halves import pack
from glimsum_workers.engine.compiled.kernel import compile_kernel, constant, numba

U = np.uintp
Floats = NDArray[np.float32]
Mask = NDArray[np.bool_]
Address = Any

TAPS = 9
"""Of one half of a mean, its middle included; shorter ones end in zeros."""
_REACH = TAPS - 1
_ACROSS, _DOWN = 256, 32
"""Pixels of a tile; its rows are done four at a time, which read nearly the same."""
_WIDE = _ACROSS + 2 * _REACH
W = U(_WIDE)
MEAN = U((_DOWN + 2 * _REACH) * _WIDE)
"""Behind the rows of the picture: four rows of means along columns, for all columns at hand."""
SHARP = MEAN + U(4) * W
"""The same by the narrow mean."""
DONE = SHARP + U(4) * W
"""A row that is finished."""
SIZE = DONE + W


def _fill_room(plane: Any, top: int, left: int, rows: int, room: Floats) -> None:
    """Copy what is about a tile; beyond its edges a picture goes on as it ends."""
    height, width = plane.shape
    first = left - _REACH
    before, after = max(-first, 0), min(width - first, _WIDE)
    for y in range(rows + 2 * _REACH):
        row = plane[min(max(top + y - _REACH, 0), height - 1)]
        line = room[y * _WIDE : (y + 1) * _WIDE]
        inside, copied = row[first + before : first + after], line[before:after]
        for x in range(U(copied.size)):
            copied[x] = inside[x]
        line[:before] = row[0]
        line[after:] = row[width - 1]


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


def _sum_narrow(room: Floats, p: Address, apart: Address) -> Any:
    """Return the mean by (1, 2, 1) / 4 about one sample."""
    return fused(np.float32(0.25), room[p - apart] + room[p + apart], np.float32(0.5) * room[p])


fill_room = compile_kernel(_fill_room)
sum_wide = compile_kernel(_sum_wide)
sum_narrow = compile_kernel(_sum_narrow)


def _sum_down(room: Floats, taps: Any, start: Address) -> None:
    """Put the means along columns into the room, of four rows of the picture from `start`."""
    for x in range(W):
        p = start + x
        # All are read before any is written: what rows share is then read once.
        m0, m1 = sum_wide(room, taps, p, W), sum_wide(room, taps, p + W, W)
        m2 = sum_wide(room, taps, p + U(2) * W, W)
        m3 = sum_wide(room, taps, p + U(3) * W, W)
        room[MEAN + x], room[MEAN + W + x] = m0, m1
        room[MEAN + U(2) * W + x], room[MEAN + U(3) * W + x] = m2, m3


def _sharpen_down(room: Floats, start: Address) -> None:
    """Put the narrow means along columns into the room, of four rows from `start`."""
    for x in range(W):
        p = start + x
        m0, m1 = sum_narrow(room, p, W), sum_narrow(room, p + W, W)
        m2, m3 = sum_narrow(room, p + U(2) * W, W), sum_narrow(room, p + U(3) * W, W)
        room[SHARP + x], room[SHARP + W + x] = m0, m1
        room[SHARP + U(2) * W + x], room[SHARP + U(3) * W + x] = m2, m3


def _sum_across(room: Floats, taps: Any, row: Address, width: Any) -> None:
    """Finish one of four rows: its mean."""
    start = MEAN + row * W + U(_REACH)
    for x in range(U(width)):
        room[DONE + x] = sum_wide(room, taps, start + x, U(1))


def _take_mean(room: Floats, row: Address, width: Any) -> None:
    """Say by how much the narrow mean of one of four rows is above what is done of it."""
    start = SHARP + row * W + U(_REACH)
    for x in range(U(width)):
        room[DONE + x] = sum_narrow(room, start + x, U(1)) - room[DONE + x]


sum_down = compile_kernel(_sum_down)
sharpen_down = compile_kernel(_sharpen_down)
sum_across = compile_kernel(_sum_across)
take_mean = compile_kernel(_take_mean)


def _keep_row(room: Floats, valid: Any, out: Floats) -> None:
    """Write a row that is done; 0 where it is not valid."""
    for x in range(U(out.size)):
        out[x] = room[DONE + x]
    if valid.size:
        for x in range(U(out.size)):
            out[x] = out[x] if valid[x] else np.float32(0)


def _keep_halves(room: Floats, valid: Any, out: NDArray[np.int16]) -> None:
    """Write the same as halves, within 60000 either way; 0 for what is no number."""
    most = np.float32(60000)
    for x in range(U(out.size)):
        value = room[DONE + x]
        value = value if value == value else np.float32(0)  # noqa: PLR0124  # NaN alone isn't
        out[x] = pack(min(max(value, -most), most))
    if valid.size:
        for x in range(U(out.size)):
            out[x] = out[x] if valid[x] else np.int16(0)


keep_row = compile_kernel(_keep_row)
keep_halves = compile_kernel(_keep_halves)


def _pass_plane(
    plane: Floats, taps: Floats, valid: Mask, result: Floats, halves: NDArray[np.int16]
) -> None:
    """Tell what the mean of `plane` with (1, 2, 1) / 4 shows beside that by symmetric taps.

    Both in rows and columns; `taps` (9) begin with the middle. It is put into `result`, as bits of
    halves into `halves`; what has no size isn't told. 0 where not `valid`; of no size: all is.
    """
    height, width = plane.shape
    room = np.zeros(SIZE, np.float32)
    # As numbers of their own: else each would be read again for every sample.
    t = taps[0], taps[1], taps[2], taps[3], taps[4], taps[5], taps[6], taps[7], taps[8]
    for top in range(0, height, _DOWN):
        rows = min(_DOWN, height - top)
        for left in range(0, width, _ACROSS):
            right = min(left + _ACROSS, width)
            fill_room(plane, top, left, rows, room)
            for y in range(rows):
                row = U(y % 4)
                if row == 0:
                    sum_down(room, t, U(y + _REACH) * W)
                    sharpen_down(room, U(y + _REACH) * W)
                sum_across(room, t, row, right - left)
                take_mean(room, row, right - left)
                told = valid[top + y, left:right] if valid.size else valid[0:0].reshape(-1)
                if result.size:
                    keep_row(room, told, result[top + y, left:right])
                if halves.size:
                    keep_halves(room, told, halves[top + y, left:right])


def _fill_row(light: Floats, weight: Floats, valid: Any, out: Floats) -> None:
    """Give what is not valid the mean of what is."""
    least = np.float32(1e-3)
    for x in range(U(out.size)):
        if not valid[x]:
            out[x] = light[DONE + x] / max(weight[DONE + x], least)


fill_row = compile_kernel(_fill_row)


def _fill_masked(plane: Floats, taps: Floats, valid: Mask, filled: Floats) -> None:
    """Give what is not `valid` in `filled`, a copy of `plane`, the mean of what is about it."""
    height, width = plane.shape
    light, weight = np.zeros(SIZE, np.float32), np.zeros(SIZE, np.float32)
    t = taps[0], taps[1], taps[2], taps[3], taps[4], taps[5], taps[6], taps[7], taps[8]
    for top in range(0, height, _DOWN):
        rows = min(_DOWN, height - top)
        for left in range(0, width, _ACROSS):
            right = min(left + _ACROSS, width)
            if valid[top : top + rows, left:right].all():
                continue
            fill_room(plane, top, left, rows, light)
            fill_room(valid, top, left, rows, weight)
            for i in range(MEAN):  # what is masked may be infinite: times 0 it would spread
                light[i] = light[i] if weight[i] > 0 else np.float32(0)
            for y in range(rows):
                row = U(y % 4)
                if row == 0:
                    sum_down(light, t, U(y + _REACH) * W)
                    sum_down(weight, t, U(y + _REACH) * W)
                told = valid[top + y, left:right]
                if not told.all():
                    sum_across(light, t, row, right - left)
                    sum_across(weight, t, row, right - left)
                    fill_row(light, weight, told, filled[top + y, left:right])


_PLANE, _TAPS, _MASK = (
    constant(each) for each in ("float32[:, ::1]", "float32[::1]", "boolean[:, ::1]")
)
_OUT = numba.float32[:, ::1]

pass_plane: Any = compile_kernel(
    _pass_plane, numba.void(_PLANE, _TAPS, _MASK, _OUT, numba.int16[:, ::1])
)
fill_masked: Any = compile_kernel(_fill_masked, numba.void(_PLANE, _TAPS, _MASK, _OUT))
