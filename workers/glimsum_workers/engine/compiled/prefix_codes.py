"""Prefix codes of limited length, the shortest there are for what was counted.

Source: L. L. Larmore and D. S. Hirschberg, A fast algorithm for optimal length-limited Huffman
codes, J. ACM 37 (1990), doi:10.1145/79147.79150 (lists merged with pairs of the last list);
order of codes RFC 1951, 3.2.2.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.compiled.kernel import compile_kernel

Numbers = NDArray[np.int64]
_MOST_BITS = 15
"""Of a code, in the standard."""


def _sort_upwards(counts: Numbers, order: Numbers) -> None:
    """Find the order that sorts counts; equal ones stay in theirs."""
    for symbol in range(counts.size):
        at = symbol
        while at > 0 and counts[order[at - 1]] > counts[symbol]:
            order[at] = order[at - 1]
            at -= 1
        order[at] = symbol


sort_upwards: Any = compile_kernel(_sort_upwards)


def _find_lengths(counts: Numbers, longest: int, lengths: Numbers) -> None:
    """Find the lengths of the shortest code of at most `longest` bits.

    What is never counted gets 0. Between 2 and 2**longest symbols have to be there.
    """
    order = np.empty(counts.size, np.int64)
    sort_upwards(counts, order)
    # By a loop: numba takes seconds to compile the assignment of a slice.
    for symbol in range(lengths.size):
        lengths[symbol] = 0
    first = 0
    while counts[order[first]] == 0:
        first += 1
    n, pairs = order.size - first, 0
    merged, last = np.empty(2 * n, np.int64), np.empty(2 * n, np.int64)
    is_leaf = np.empty((longest, 2 * n), np.bool_)
    for level in range(longest):
        leaf, pair = 0, 0
        for at in range(n + pairs):
            weight = last[2 * pair] + last[2 * pair + 1] if pair < pairs else 0
            takes = pair == pairs or (leaf < n and counts[order[first + leaf]] <= weight)
            is_leaf[level, at] = takes
            if takes:
                merged[at] = counts[order[first + leaf]]
                leaf += 1
            else:
                merged[at] = weight
                pair += 1
        merged, last = last, merged
        pairs = (n + pairs) // 2
    taken = 2 * n - 2
    for level in range(longest - 1, -1, -1):
        leaves = 0
        for at in range(taken):
            leaves += is_leaf[level, at]
        for leaf in range(leaves):
            lengths[order[first + leaf]] += 1
        taken = 2 * (taken - leaves)


find_lengths: Any = compile_kernel(_find_lengths)


def _make_codes(lengths: Numbers, codes: Numbers) -> None:
    """Make the codes of lengths, their first bit lowest, as they are written (3.1.1)."""
    amounts = np.zeros(_MOST_BITS + 1, np.int64)
    starts = np.zeros(_MOST_BITS + 1, np.int64)
    for length in lengths:
        amounts[length] += length > 0
    for bits in range(1, _MOST_BITS + 1):
        starts[bits] = (starts[bits - 1] + amounts[bits - 1]) << 1
    for symbol in range(lengths.size):
        length = lengths[symbol]
        code, turned = starts[length], 0
        for _ in range(length):
            turned = turned << 1 | code & 1
            code >>= 1
        codes[symbol] = turned
        starts[length] += length > 0


make_codes: Any = compile_kernel(_make_codes)
