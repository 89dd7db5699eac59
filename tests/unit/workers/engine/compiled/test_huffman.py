"""Bytes deflated by codes alone, inflated by three others.

Readers: zlib of Python's standard library, isal and libdeflate (RFC 1951).
"""

import zlib
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import deflate
import numpy as np
import pytest
from isal import isal_zlib
from numpy.typing import NDArray

from glimsum_workers.engine.compiled.huffman import (
    SYMBOLS,
    count_symbols,
    deflate_literals,
    room_for,
)

Bytes = NDArray[np.uint8]
SIZES = [1, 2, 3, 7, 8, 9, 15, 16, 17, 255, 256, 257, 4099, 184_320]
SEED = 20261126


def one_value(size: int, random: np.random.Generator) -> Bytes:
    return np.full(size, 128, np.uint8)


def two_values(size: int, random: np.random.Generator) -> Bytes:
    return (255 * random.integers(0, 2, size)).astype(np.uint8)


def all_alike(size: int, random: np.random.Generator) -> Bytes:
    return random.permutation(np.arange(size) % 256).astype(np.uint8)


def any_value(size: int, random: np.random.Generator) -> Bytes:
    return random.integers(0, 256, size, np.uint8)


def around_the_middle(size: int, random: np.random.Generator) -> Bytes:
    return np.rint(128 + 2 * random.standard_normal(size)).astype(np.uint8)


def every_second(size: int, random: np.random.Generator) -> Bytes:
    """Every second value is missing, so that the lengths don't come in runs."""
    return (2 * random.integers(0, 128, size)).astype(np.uint8)


def fibonacci(size: int, random: np.random.Generator) -> Bytes:
    """Counts that make Huffman's codes one bit longer with each value: 26 bits, of 184,320."""
    counts = [1, 1]
    while sum(counts) < size:
        counts.append(counts[-1] + counts[-2])
    drawn = np.repeat(np.arange(len(counts), dtype=np.uint8) * 9, counts)
    return random.permutation(drawn)[:size]


def powers(size: int, random: np.random.Generator) -> Bytes:
    """One value more than half of the time, every other one rarer than the one before."""
    return np.minimum(random.geometric(0.5, size), 255).astype(np.uint8)


def half_and_rare(size: int, random: np.random.Generator) -> Bytes:
    """Two values, and each other one once: many codes as long as may be."""
    given = two_values(size, random)
    rare = min(size, 256)
    given[:rare] = np.arange(rare)
    return given


KINDS: list[Callable[[int, np.random.Generator], Bytes]] = [
    one_value, two_values, all_alike, any_value, around_the_middle, every_second, fibonacci,
    powers, half_and_rare,
]  # fmt: skip


def deflated(some: Bytes) -> bytes:
    """Return the block; nothing may be written behind the room it is given."""
    counts, pairs = np.full(SYMBOLS, -1, np.int64), np.full((256, 256), 0xABABABAB, np.uint32)
    room = room_for(some.size)
    out = np.full(room + 64, 0xAB, np.uint8)
    count_symbols(some, counts)
    used = deflate_literals(some, counts, pairs, out[:room])
    assert used <= room
    assert np.all(out[room:] == 0xAB)
    return out[:used].tobytes()


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("kind", KINDS, ids=lambda each: each.__name__)
def test_three_others_inflate_it(kind: Callable[..., Bytes], size: int) -> None:
    given = kind(size, np.random.default_rng(SEED + size))
    whole = given.tobytes()

    packed = deflated(given)

    inflater = zlib.decompressobj(-15)
    assert inflater.decompress(packed) == whole
    assert (inflater.eof, inflater.unused_data) == (True, b"")
    assert isal_zlib.decompress(packed, -15) == whole
    assert deflate.deflate_decompress(packed, size) == whole


def test_any_counts_are_inflated() -> None:
    random = np.random.default_rng(SEED)
    for _ in range(200):
        shares = random.dirichlet(np.full(256, 10 ** random.uniform(-3, 1)))
        given = random.choice(256, int(random.integers(1, 5000)), p=shares).astype(np.uint8)

        assert zlib.decompress(deflated(given), -15) == given.tobytes()


@pytest.mark.parametrize("kind", KINDS, ids=lambda each: each.__name__)
def test_it_is_as_short_as_codes_alone_can_be(kind: Callable[..., Bytes]) -> None:
    """zlib's own codes without matches (Z_HUFFMAN_ONLY), in blocks of 16 KiB of symbols."""
    given = kind(184_320, np.random.default_rng(SEED))
    packer = zlib.compressobj(9, zlib.DEFLATED, -15, 9, zlib.Z_HUFFMAN_ONLY)
    other = packer.compress(given.tobytes()) + packer.flush()

    assert len(deflated(given)) <= 1.002 * len(other)


@pytest.mark.parametrize("size", SIZES)
def test_bytes_and_one_end_are_counted(size: int) -> None:
    given = any_value(size, np.random.default_rng(SEED))
    counts = np.full(SYMBOLS, -1, np.int64)

    count_symbols(given, counts)

    np.testing.assert_array_equal(counts[:256], np.bincount(given, minlength=256))
    assert counts[256] == 1


def test_threads_give_the_same_bytes() -> None:
    random = np.random.default_rng(SEED)
    given = [around_the_middle(100_000, random) for _ in range(8)]
    expected = [deflated(each) for each in given]

    with ThreadPoolExecutor(8) as threads:
        found = list(threads.map(deflated, 3 * given))

    assert 3 * expected == found
