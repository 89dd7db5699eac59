"""Bytes of scan lines as OpenEXR's ZIP compressors deflate them, there and back.

A block holds lines of samples, each line channel by channel. Its first half are the low bytes of
all 16-bit words, its second the high ones; each byte is then left as its difference to the one
before, + 128.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.compiled.kernel import compile_kernel, constant, numba

# Addresses without a sign throughout: with one, the compiler does a byte at a time.
U = np.uintp
Bytes = NDArray[np.uint8]
Words = NDArray[np.uint16]
_PIECE = 4096
"""Bytes summed at once: two copies of them stay in the nearest cache."""
_CHAINS = 32
"""Sums that run side by side, as many as a register of 256 bits has bytes."""
_MIDDLE = np.uint8(128)


def _part_words(words: Words, index: int, count: int, parted: Bytes) -> None:
    """Put low and high bytes of a channel's lines where they lie: it is `index` of `count`."""
    width, middle = words.shape[1], parted.size // 2
    for line in range(words.shape[0]):
        at = (line * count + index) * width
        row = words[line]
        low, high = parted[at : at + width], parted[middle + at : middle + at + width]
        for i in range(U(width)):
            low[i] = np.uint8(row[i] & np.uint16(0xFF))
            high[i] = np.uint8(row[i] >> np.uint16(8))


def _join_words(parted: Bytes, index: int, count: int, words: Words) -> None:
    """Undo `_part_words`."""
    width, middle = words.shape[1], parted.size // 2
    for line in range(words.shape[0]):
        at = (line * count + index) * width
        row = words[line]
        low, high = parted[at : at + width], parted[middle + at : middle + at + width]
        for i in range(U(width)):
            row[i] = np.uint16(low[i]) | (np.uint16(high[i]) << np.uint16(8))


def _leave_differences(parted: Bytes, differences: Bytes) -> None:
    """Leave each byte's difference to the one before, + 128; the first byte stays."""
    differences[0] = parted[0]
    for i in range(U(1), U(parted.size)):
        differences[i] = np.uint8(parted[i] - parted[i - U(1)] + _MIDDLE)


def _add_earlier(given: Bytes, apart: Any, sums: Bytes) -> None:
    """Put each byte plus the one `apart` before it into `sums`."""
    n = U(given.size)
    for i in range(min(apart, n)):
        sums[i] = given[i]
    for i in range(apart, n):
        sums[i] = np.uint8(given[i] + given[i - apart])


add_earlier: Any = compile_kernel(_add_earlier)


def _sum_piece(differences: Bytes, before: Any, sums: Bytes, others: Bytes) -> None:
    """Put the running sum of a piece of differences into `sums`, which begins after `before`.

    Sums over 2, 4, 8, 16 and 32 bytes first, each of two of the last: then 32 bytes at a time.
    The 128 that each difference has too much fall away with the first of these, modulo 256.
    """
    n = U(differences.size)
    add_earlier(differences, U(1), sums)
    sums[0] = np.uint8(sums[0] - _MIDDLE)
    add_earlier(sums, U(2), others[:n])
    add_earlier(others[:n], U(4), sums)
    add_earlier(sums, U(8), others[:n])
    add_earlier(others[:n], U(16), sums)
    for i in range(min(U(_CHAINS), n)):
        sums[i] = np.uint8(sums[i] + before)
    for i in range(U(_CHAINS), n):
        sums[i] = np.uint8(sums[i] + sums[i - U(_CHAINS)])


sum_piece: Any = compile_kernel(_sum_piece)


def _undo_differences(differences: Bytes, parted: Bytes) -> None:
    """Undo `_leave_differences`; every byte of `differences` has to be there."""
    others = np.empty(_PIECE, np.uint8)
    # The first byte was left as it is, so it lacks the 128 that the others have too much.
    before = _MIDDLE
    for first in range(0, differences.size, _PIECE):
        end = min(first + _PIECE, differences.size)
        sum_piece(differences[first:end], before, parted[first:end], others)
        before = parted[end - 1]


def _count_bytes(some: Bytes, step: int, counts: NDArray[np.int64]) -> None:
    """Count the values of every `step`-th byte: (256,)."""
    counts[:] = 0
    for i in range(U(0), U(some.size), U(step)):
        counts[some[i]] += 1


_GIVEN, _BYTES = constant("uint8[::1]"), numba.uint8[::1]
_SIZE = numba.int64

part_words: Any = compile_kernel(
    _part_words, numba.void(constant("uint16[:, ::1]"), _SIZE, _SIZE, _BYTES)
)
join_words: Any = compile_kernel(
    _join_words, numba.void(_GIVEN, _SIZE, _SIZE, numba.uint16[:, ::1])
)
leave_differences: Any = compile_kernel(_leave_differences, numba.void(_GIVEN, _BYTES))
undo_differences: Any = compile_kernel(_undo_differences, numba.void(_GIVEN, _BYTES))
count_bytes: Any = compile_kernel(_count_bytes, numba.void(_GIVEN, _SIZE, numba.int64[::1]))
