"""Deflate of bytes that repeat too little for matches: each by a code made for its block.

Source: RFC 1951 (blocks with dynamic codes, 3.2.7).
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.compiled.kernel import compile_kernel, constant, numba
from glimsum_workers.engine.compiled.prefix_codes import Numbers, find_lengths, make_codes

# Addresses without a sign throughout: with one, the compiler loads and stores a byte at a time.
U, U8, U32, U64 = np.uintp, np.uint8, np.uint32, np.uint64
Bytes = NDArray[np.uint8]
Pairs = NDArray[np.uint32]
SYMBOLS = 257
"""Bytes, and the end of the block, which is the last one."""
_LONGEST = 12
"""Bits of a code: two codes and the length of both fit into 32 bits. The standard allows 15."""
_LONGEST_OF_LENGTHS = 7
_LENGTH_AT = U32(27)
"""Where an entry of the table of pairs holds how many bits it has."""
_PAIR_BITS = U64((1 << 27) - 1)
_BYTE, _TWO_BYTES = U64(0xFF), U64(0xFFFF)
_ORDER = np.array([16, 17, 18, 0, 8, 7, 9, 6, 10, 5, 11, 4, 12, 3, 13, 2, 14, 1, 15])
"""In which order the lengths of the code of lengths are told."""
_REPEAT, _ZEROS, _MANY_ZEROS = 16, 17, 18


def room_for(size: int) -> int:
    """Return how many bytes `deflate_literals` may write, at most.

    A code of 9 bits a byte is among those it chooses from, and its head tells 258 lengths.
    """
    return size + size // 8 + 512


def _load(some: Bytes, at: Any) -> Any:
    """Return eight bytes, the first one lowest."""
    word = U64(0)
    for i in range(U(8)):
        word |= U64(some[at + i]) << (U64(8) * U64(i))
    return word


load: Any = compile_kernel(_load)


def _count_symbols(some: Bytes, counts: Numbers) -> None:
    """Count bytes, and one end: (257,). Several tables, lest equal neighbours wait in line."""
    tables = np.zeros((8, 256), np.uint32)
    whole = U(some.size - some.size % 8)
    for at in range(U(0), whole, U(8)):
        word = load(some, at)
        for i in range(U(8)):
            tables[i, U(word & _BYTE)] += U32(1)
            word >>= U64(8)
    for at in range(whole, U(some.size)):
        tables[0, some[at]] += U32(1)
    for value in range(256):
        counts[value] = 0
        for i in range(8):
            counts[value] += tables[i, value]
    counts[256] = 1


def _put(bits: int, count: int, out: Bytes, place: int) -> int:
    """Put up to 14 bits at a place, counted in bits, and zeros behind; return the next place."""
    at, shifted = place >> 3, bits << (place & 7)
    out[at] |= U8(shifted & 0xFF)
    out[at + 1] = U8(shifted >> 8 & 0xFF)
    out[at + 2] = U8(shifted >> 16 & 0xFF)
    return place + count


put: Any = compile_kernel(_put)


def _shorten_lengths(told: Numbers, symbols: Numbers, extras: Numbers) -> int:
    """Tell lengths by runs of equal ones; return how many symbols that takes."""
    i, made = 0, 0
    while i < told.size:
        value, run = told[i], 1
        while i + run < told.size and told[i + run] == value:
            run += 1
        i += run
        if value:
            symbols[made], extras[made] = value, 0
            made += 1
            run -= 1
        while run > 0:
            symbols[made], extras[made] = value, 0
            step = 1
            if value and run >= 3:
                step = min(run, 6)
                symbols[made], extras[made] = _REPEAT, step - 3
            elif run >= 11:
                step = min(run, 138)
                symbols[made], extras[made] = _MANY_ZEROS, step - 11
            elif run >= 3:
                step = run
                symbols[made], extras[made] = _ZEROS, step - 3
            made += 1
            run -= step
    return made


shorten_lengths: Any = compile_kernel(_shorten_lengths)


def _write_head(lengths: Numbers, out: Bytes) -> int:
    """Write the head of a final block; return how many bits it has."""
    # One distance code of no bits: there are literals alone.
    told = np.zeros(SYMBOLS + 1, np.int64)
    for symbol in range(SYMBOLS):
        told[symbol] = lengths[symbol]
    symbols, extras = np.empty(told.size, np.int64), np.empty(told.size, np.int64)
    made = shorten_lengths(told, symbols, extras)
    counts, found, codes = np.zeros(19, np.int64), np.empty(19, np.int64), np.empty(19, np.int64)
    for i in range(made):
        counts[symbols[i]] += 1
    find_lengths(counts, _LONGEST_OF_LENGTHS, found)
    make_codes(found, codes)
    shown = 19
    while found[_ORDER[shown - 1]] == 0:
        shown -= 1
    out[0] = 0
    place: int = put(0b101, 3, out, 0)
    place = put((shown - 4) << 10, 14, out, place)
    for i in range(shown):
        place = put(found[_ORDER[i]], 3, out, place)
    for i in range(made):
        symbol = symbols[i]
        place = put(codes[symbol], found[symbol], out, place)
        if symbol >= _REPEAT:
            wide = 2 if symbol == _REPEAT else 3 if symbol == _ZEROS else 7
            place = put(extras[i], wide, out, place)
    return place


write_head: Any = compile_kernel(_write_head)


def _pair_codes(codes: Numbers, lengths: Numbers, pairs: Pairs) -> None:
    """Fill the table of pairs, second byte by first: bits, and how many at `_LENGTH_AT`."""
    bits, wide = codes.astype(np.uint32), lengths.astype(np.uint32)
    for second in range(U(256)):
        if wide[second]:
            row, later, more = pairs[second], bits[second], wide[second]
            for first in range(U(256)):
                both = bits[first] | later << wide[first]
                row[first] = both | (wide[first] + more) << _LENGTH_AT


pair_codes: Any = compile_kernel(_pair_codes)


def _store(buffer: Any, held: Any, out: Bytes, at: Any) -> Any:
    """Store the bits held; return those of the last byte begun, how many, and its place."""
    for i in range(U(8)):
        out[at + i] = U8(buffer >> (U64(8) * i) & _BYTE)
    return buffer >> (held & U64(0x38)), held & U64(7), at + U(held >> U64(3))


store: Any = compile_kernel(_store)


def _deflate_literals(some: Bytes, counts: Numbers, pairs: Pairs, out: Bytes) -> int:
    """Deflate bytes, one at least, as one final block; return how many bytes that takes.

    `counts` are those of `some`, by `count_symbols`; `pairs` is (256, 256), `out` has `room_for`
    what is written, and both may hold anything.
    """
    lengths, codes = np.empty(SYMBOLS, np.int64), np.empty(SYMBOLS, np.int64)
    find_lengths(counts, _LONGEST, lengths)
    make_codes(lengths, codes)
    pair_codes(codes, lengths, pairs)
    table = pairs.reshape(pairs.size)
    place = write_head(lengths, out)
    at, held = U(place >> 3), U64(place & 7)
    buffer = U64(out[at])
    whole = U(some.size - some.size % 8)
    for i in range(U(0), whole, U(8)):
        word = load(some, i)
        for _ in range(2):
            # Twice 24 bits beside the seven that may be held.
            one, two = table[U(word & _TWO_BYTES)], table[U(word >> U64(16) & _TWO_BYTES)]
            word >>= U64(32)
            wide, wider = U64(one >> _LENGTH_AT), U64(two >> _LENGTH_AT)
            buffer |= ((U64(one) & _PAIR_BITS) | (U64(two) & _PAIR_BITS) << wide) << held
            buffer, held, at = store(buffer, held + wide + wider, out, at)
    for i in range(whole, U(some.size + 1)):
        symbol = U(some[i]) if i < U(some.size) else U(256)
        buffer |= U64(codes[symbol]) << held
        buffer, held, at = store(buffer, held + U64(lengths[symbol]), out, at)
    return int(at) + int(held > U64(0))


_GIVEN, _COUNTS, _PAIRS = constant("uint8[::1]"), numba.int64[::1], numba.uint32[:, ::1]

count_symbols: Any = compile_kernel(_count_symbols, numba.void(_GIVEN, _COUNTS))
deflate_literals: Any = compile_kernel(
    _deflate_literals, numba.int64(_GIVEN, _COUNTS, _PAIRS, numba.uint8[::1])
)
