"""Codes as short as they can be, and no longer than asked.

Sources: RFC 1951, 3.2.2 (its worked example); D. A. Huffman, A method for the construction of
minimum-redundancy codes (1952), by the heap of Python's standard library, where no length is too
long; every set of lengths tried, where some are; L. G. Kraft's sum, which is 1 for a full code.
"""

import heapq
from itertools import combinations_with_replacement

import numpy as np
import pytest
from numpy.typing import NDArray

from glimsum_workers.engine.compiled.prefix_codes import find_lengths, make_codes

SEED = 20261126


def lengths_of(counts: list[int] | NDArray[np.int64], longest: int) -> NDArray[np.int64]:
    lengths = np.full(len(counts), -1, np.int64)
    find_lengths(np.asarray(counts, np.int64), longest, lengths)
    return lengths


def bits_by_heap(counts: NDArray[np.int64]) -> int:
    """Return how many bits the best code needs, of any length: the sum of all nodes joined."""
    heap, bits = [int(each) for each in counts if each], 0
    heapq.heapify(heap)
    while len(heap) > 1:
        joined = heapq.heappop(heap) + heapq.heappop(heap)
        bits += joined
        heapq.heappush(heap, joined)
    return bits


def bits_by_trying(counts: list[int], longest: int) -> int:
    """Return the same for codes of at most `longest` bits: every set of lengths tried."""
    falling = sorted(counts, reverse=True)
    return min(
        sum(count * length for count, length in zip(falling, lengths, strict=True))
        for lengths in combinations_with_replacement(range(1, longest + 1), len(counts))
        if sum(2.0**-length for length in lengths) <= 1
    )


def fibonacci(count: int) -> list[int]:
    made = [1, 1]
    while len(made) < count:
        made.append(made[-1] + made[-2])
    return made


@pytest.mark.parametrize("symbols", [2, 3, 4, 19, 100, 256, 257])
def test_lengths_are_those_of_the_best_code(symbols: int) -> None:
    random = np.random.default_rng(SEED + symbols)
    for _ in range(20):
        counts = random.integers(1, 1 << int(random.integers(1, 12)), symbols)
        counts[random.random(symbols) < 0.2] = 0
        counts[:2] += 1

        lengths = lengths_of(counts, 15)

        np.testing.assert_array_equal(lengths > 0, counts > 0)
        assert int(np.sum(counts * lengths)) == bits_by_heap(counts)
        assert np.sum(2.0 ** -lengths[lengths > 0]) == 1


@pytest.mark.parametrize("longest", [3, 4, 5])
def test_limited_lengths_are_the_best_there_are(longest: int) -> None:
    random = np.random.default_rng(SEED + longest)
    cases = [fibonacci(8), fibonacci(7), [1] * 8, [1, 1, 1, 1000, 1000, 1000, 1000, 100_000]]
    cases += [(10 ** (5 * random.random(8))).astype(int).tolist() for _ in range(15)]
    for counts in cases:
        lengths = lengths_of(counts, longest)

        assert lengths.max() <= longest
        assert sum(np.multiply(counts, lengths)) == bits_by_trying(counts, longest)


@pytest.mark.parametrize(("symbols", "longest"), [(40, 7), (40, 12), (60, 12), (80, 15)])
def test_counts_that_would_make_the_longest_code_are_held_to_the_limit(
    symbols: int, longest: int
) -> None:
    """Fibonacci's numbers make Huffman's code one bit longer with each symbol."""
    lengths = lengths_of(fibonacci(symbols), longest)

    assert lengths.max() == longest
    assert np.sum(2.0**-lengths) == 1
    assert np.all(np.diff(lengths) <= 0)


def test_a_full_alphabet_just_fits() -> None:
    np.testing.assert_array_equal(lengths_of([1] * 128, 7), np.full(128, 7))


def test_codes_are_those_of_the_standard() -> None:
    """RFC 1951, 3.2.2: A to H; written first bit lowest here."""
    codes = np.full(8, -1, np.int64)

    make_codes(np.array([3, 3, 3, 3, 3, 2, 4, 4]), codes)

    expected = ["010", "011", "100", "101", "110", "00", "1110", "1111"]
    assert [int(each[::-1], 2) for each in expected] == codes.tolist()
