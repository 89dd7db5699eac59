"""Which way the bytes of a block are deflated, and that it comes back.

Format: OpenEXR File Layout, RFC 1950 and 1951.
"""

import numpy as np
import pytest
from numpy.typing import NDArray

from glimsum_workers.engine.compiled.prefix_codes import find_lengths
from glimsum_workers.frames.exr_blocks import line_bytes, pack_block, unpack_block

RANDOM = np.random.default_rng(20261126)
SHAPE = (16, 700)
HALF = 3 * 16 * 700
"""Low bytes of a block, and high ones."""
HEADS = 100
"""Bytes, for streams and blocks, the check sum and the lengths of codes."""


def noise_over(high: NDArray[np.int64]) -> list[NDArray[np.float16]]:
    """Return samples of these high bytes, their low ones noise."""
    low = RANDOM.integers(0, 256, (3, *SHAPE))
    return list((low + 256 * high).astype(np.uint16).view(np.float16))


def unpacked(packed: bytes) -> NDArray[np.uint16]:
    planes = np.full((3, *SHAPE), 77, np.uint16)
    assert unpack_block(packed, list(planes))
    return planes


def test_high_bytes_that_hardly_change_are_told_by_matches() -> None:
    """Codes alone need a bit for each."""
    lines = noise_over(np.full((3, *SHAPE), 0x3C))

    packed = pack_block(lines)

    assert HALF < len(packed) < HALF + HALF / 16
    np.testing.assert_array_equal(unpacked(packed), np.array(lines).view(np.uint16))


def test_high_bytes_that_change_are_told_by_codes_alone() -> None:
    """Their code is the best of those without matches, to a byte: its bits are those counted."""
    high = 0x38 + RANDOM.integers(0, 6, (3, *SHAPE))
    lines = noise_over(high)
    low = np.array(lines).view(np.uint16).transpose(1, 0, 2).ravel() % 256
    flat = high.transpose(1, 0, 2).ravel()
    steps = np.diff(flat, prepend=low[-1]) % 256
    counts, lengths = np.append(np.bincount(steps, minlength=256), 1), np.empty(257, np.int64)
    find_lengths(counts, 12, lengths)
    bits = int(np.sum(counts * lengths))

    packed = pack_block(lines)

    assert HALF + bits // 8 < len(packed) < HALF + bits // 8 + HEADS
    np.testing.assert_array_equal(unpacked(packed), np.array(lines).view(np.uint16))


def test_a_block_of_noise_is_stored_as_it_is() -> None:
    lines = list(RANDOM.integers(0, 1 << 16, (3, *SHAPE), np.uint16).view(np.float16))

    packed = pack_block(lines)

    assert packed == line_bytes(lines)
    np.testing.assert_array_equal(unpacked(packed), np.array(lines).view(np.uint16))


@pytest.mark.parametrize("packed", [b"", b"\x78", b"\x78\x01", bytes(100), b"\xff" * 50_000])
def test_what_is_no_block_is_told(packed: bytes) -> None:
    planes = np.empty((3, *SHAPE), np.uint16)

    assert not unpack_block(packed, list(planes))
