"""Kernels of scan lines against plain numpy, at sizes around the pieces they work in.

Format: OpenEXR File Layout and the ZIP compressor of the OpenEXR documentation (low bytes before
high ones, differences + 128).
"""

import numpy as np
import pytest
from numpy.typing import NDArray

from glimsum_workers.engine.compiled.scanlines import (
    count_bytes,
    join_words,
    leave_differences,
    part_words,
    undo_differences,
)

SIZES = [
    1, 2, 3, 31, 32, 33, 63, 64, 65, 4095, 4096, 4097, 4127, 4128, 4129, 8191, 8192, 8193, 20001,
]  # fmt: skip
RANDOM = np.random.default_rng(20261126)
SHAPES = [(1, 1, 1), (1, 3, 1), (2, 3, 1), (16, 3, 31), (16, 3, 32), (16, 3, 33), (3, 4, 4097)]
"""Lines, channels, width."""


def drawn(size: int) -> NDArray[np.uint8]:
    return RANDOM.integers(0, 256, size, np.uint8)


def differences_of(given: NDArray[np.uint8]) -> NDArray[np.uint8]:
    return np.concatenate([given[:1], given[1:] - given[:-1] + np.uint8(128)])


@pytest.mark.parametrize("size", SIZES)
def test_differences_are_those_of_numpy(size: int) -> None:
    given, left = drawn(size), np.full(size, 77, np.uint8)

    leave_differences(given, left)

    np.testing.assert_array_equal(left, differences_of(given))


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("of", [drawn, np.zeros, np.ones], ids=["drawn", "zeros", "ones"])
def test_sums_undo_differences(size, of) -> None:  # type: ignore[no-untyped-def]  # parametrized
    given = of(size).astype(np.uint8)
    found = np.full(size, 77, np.uint8)

    undo_differences(differences_of(given), found)

    np.testing.assert_array_equal(found, given)


@pytest.mark.parametrize("size", SIZES)
def test_any_differences_are_summed(size: int) -> None:
    """Not only those that some picture leaves."""
    given, found = drawn(size), np.empty(size, np.uint8)
    steps = given.astype(np.int64)
    steps[1:] -= 128

    undo_differences(given, found)

    np.testing.assert_array_equal(found, np.cumsum(steps) % 256)


@pytest.mark.parametrize("shape", SHAPES, ids=str)
def test_bytes_of_words_are_parted_and_joined(shape: tuple[int, int, int]) -> None:
    lines, count, width = shape
    words = RANDOM.integers(0, 1 << 16, shape, np.uint16)
    raw = words.astype("<u2").view(np.uint8).ravel()
    expected = np.concatenate([raw[0::2], raw[1::2]])
    parted, joined = np.full(2 * words.size, 77, np.uint8), np.empty_like(words)

    for index in range(count):
        channel = np.ascontiguousarray(words[:, index])
        part_words(channel, index, count, parted)
        there = np.empty((lines, width), np.uint16)
        join_words(expected, index, count, there)
        joined[:, index] = there

    np.testing.assert_array_equal(parted, expected)
    np.testing.assert_array_equal(joined, words)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("step", [1, 3, 4])
def test_bytes_are_counted(size: int, step: int) -> None:
    given, counts = drawn(size), np.full(256, -1, np.int64)

    count_bytes(given, step, counts)

    np.testing.assert_array_equal(counts, np.bincount(given[::step], minlength=256))
