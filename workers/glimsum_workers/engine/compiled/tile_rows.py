"""Rows of light going into the room and out of it."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.compiled.halves import unpack
from glimsum_workers.engine.compiled.kernel import compile_kernel
from glimsum_workers.engine.compiled.room import MADE, Address, Room, T, W

Samples = NDArray[np.float32]
Bits = tuple[NDArray[np.int16], NDArray[np.int16], NDArray[np.int16]]
"""Half floats by their bits: planes R, G, B."""

U = np.uintp

AS_IT_IS, GAINS, MATRIX = 0, 1, 2
"""How a matrix is to be applied: not at all, by its diagonal alone, whole."""


def _mix(  # noqa: PLR0917  # asked for in a loop
    room: Room, at: Address, channel: Address, n: Address, how: int, matrix: Samples
) -> None:
    """Multiply three channels of a row by a matrix, in place."""
    if how == GAINS:
        for index in range(3):
            place, gain = at + U(index) * channel, matrix[index, index]
            for i in range(n):
                room[place + i] *= gain
    elif how == MATRIX:
        rr, rg, rb = matrix[0, 0], matrix[0, 1], matrix[0, 2]
        gr, gg, gb = matrix[1, 0], matrix[1, 1], matrix[1, 2]
        br, bg, bb = matrix[2, 0], matrix[2, 1], matrix[2, 2]
        for i in range(n):
            p, q, s = at + i, at + channel + i, at + U(2) * channel + i
            r, g, b = room[p], room[q], room[s]
            room[p] = rr * r + rg * g + rb * b
            room[q] = gr * r + gg * g + gb * b
            room[s] = br * r + bg * g + bb * b


mix = compile_kernel(_mix)


def _take_row(  # noqa: PLR0917  # asked for in a loop
    room: Room, at: Address, pixels: Samples, bits: Bits, is_half: bool, line: int, left: int,
    n: int, how: int, matrix: Samples,
) -> None:  # fmt: skip
    """Put `n` samples of a source row from column `left` on into the room; edges repeat."""
    if is_half:
        height, width = bits[0].shape
    else:
        height, width = pixels.shape[0], pixels.shape[1]
    line = min(max(line, 0), height - 1)
    first, last = max(0, -left), min(n, width - left)
    if first >= last:
        # The whole row lies beyond an edge: the outermost sample stands for all.
        first, last = (0, 1) if left > 0 else (n - 1, n)
        left = width - 1 if left > 0 else 1 - n
    inside, count = at + U(first), U(last - first)
    if is_half:
        for index in range(3):
            stored = bits[index][line, left + first : left + last]
            place = inside + U(index) * W
            for i in range(count):
                room[place + i] = unpack(stored[i])
    else:
        row = pixels[line, left + first : left + last]
        for i in range(count):
            room[inside + i] = row[i, 0]
            room[inside + W + i] = row[i, 1]
            room[inside + U(2) * W + i] = row[i, 2]
    mix(room, inside, W, count, how, matrix)
    for index in range(3):
        place = at + U(index) * W
        for i in range(first):
            room[place + U(i)] = room[place + U(first)]
        for i in range(last, n):
            room[place + U(i)] = room[place + U(last - 1)]


def _add_row(  # noqa: PLR0917  # asked for in a loop
    room: Room, new: Address, channel: Address, n: int, total: Address, how: int, matrix: Samples,
    matte: Samples, matted: bool,
) -> None:  # fmt: skip
    """Add a row from `new` on, times `matrix` and `matte`, to the sum from `total` on."""
    count = U(n)
    mix(room, new, channel, count, how, matrix)
    for index in range(3):
        place, at = new + U(index) * channel, total + U(index) * T
        if matted:
            for i in range(count):
                room[at + i] += room[place + i] * matte[i]
        else:
            for i in range(count):
                room[at + i] += room[place + i]


def _begin_sum(room: Room, at: Address, target: Samples, added: bool) -> None:
    """Begin a row of the sum with what `target` holds, or with nothing."""
    for i in range(U(target.shape[0])):
        room[at + i] = target[i, 0] if added else np.float32(0)
        room[at + T + i] = target[i, 1] if added else np.float32(0)
        room[at + U(2) * T + i] = target[i, 2] if added else np.float32(0)


def _end_sum(room: Room, at: Address, target: Samples) -> None:
    """Put a row of the sum into `target`."""
    for i in range(U(target.shape[0])):
        target[i, 0] = room[at + i]
        target[i, 1] = room[at + T + i]
        target[i, 2] = room[at + U(2) * T + i]


def _lay_row(  # noqa: PLR0917  # asked for in a loop
    room: Room, n: int, target: Samples, how: int, matrix: Samples, matte: Samples,
    matted: bool, added: bool,
) -> None:  # fmt: skip
    """Put the new row, times `matrix` and `matte`, into `target` or add it there."""
    count = U(n)
    mix(room, MADE, T, count, how, matrix)
    if matted:
        for index in range(3):
            place = MADE + U(index) * T
            for i in range(count):
                room[place + i] *= matte[i]
    if added:
        for i in range(count):
            target[i, 0] += room[MADE + i]
            target[i, 1] += room[MADE + T + i]
            target[i, 2] += room[MADE + U(2) * T + i]
    else:
        for i in range(count):
            target[i, 0] = room[MADE + i]
            target[i, 1] = room[MADE + T + i]
            target[i, 2] = room[MADE + U(2) * T + i]


take_row: Any = compile_kernel(_take_row)
lay_row: Any = compile_kernel(_lay_row)
add_row: Any = compile_kernel(_add_row)
begin_sum: Any = compile_kernel(_begin_sum)
end_sum: Any = compile_kernel(_end_sum)
