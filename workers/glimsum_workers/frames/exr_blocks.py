"""Blocks of scan lines as OpenEXR's ZIP compressors keep them: packed and unpacked.

Source: OpenEXR File Layout and the ZIP compressor of the OpenEXR documentation; zlib and deflate
streams RFC 1950 and 1951.
"""

import struct
from collections.abc import Sequence
from typing import Any

import deflate
import numpy as np
from isal import isal_zlib
from numpy.typing import NDArray

_QUICK_BYTES = 1 << 15
"""Blocks from this size on are parted by compiled code, and their halves deflated apart."""
_LEVEL = 1
"""Of the deflate: level 3 took twice the time for 1 to 2 % less, level 0 gave 15 % more."""
_ZLIB_HEADER = b"\x78\x01"
_RAW_DEFLATE = -15
_LONGEST_STORED = 0xFFFF
_LOOKED_AT = 4
"""Of so many low bytes one is counted."""
_NOISE_BITS = 7.5
"""Entropy of a byte from which on low bytes are stored: deflating them takes as long as the high
ones and would save 3 % of a block at most."""

_MOST_ALIKE = 0.8
"""Share of the commonest byte up to which codes alone are used: 0.72 to 1.05 times as long as with
matches in 1,248 blocks of passes and masters, in half the time, but read back more slowly. In 378
blocks with a greater share, mattes among them, 0.81 to 14 times as long."""


def pack_block(lines: Sequence[NDArray[Any]]) -> bytes:
    """Return a block, deflated, or as it is where that is no smaller.

    Parameters
    ----------
    lines : sequence of array (lines, width)
        Each channel's part in the file's order; all float16 or all float32, little-endian.

    Returns
    -------
    bytes
        Equal samples give equal bytes with the same deflate library.
    """
    size = sum(each.nbytes for each in lines)
    packed = _deflate_quickly(lines, size) if size >= _QUICK_BYTES else _deflate_plainly(lines)
    return packed if len(packed) < size else line_bytes(lines)


def line_bytes(lines: Sequence[NDArray[Any]]) -> bytes:
    """Return a block as it is: line after line, each channel after the other."""
    return np.stack(lines, axis=1).tobytes()


def unpack_block(packed: bytes, planes: Sequence[NDArray[np.uint16]]) -> bool:
    """Put the samples of a block into its lines of each channel.

    Parameters
    ----------
    packed : bytes
        The block, of 16-bit samples, as `pack_block` or any other writer leaves it.
    planes : sequence of uint16 array (lines, width)
        Filled, in the file's order of channels; C order.

    Returns
    -------
    bool
        False where the block is damaged or of another length; `planes` then hold anything.
    """
    from glimsum_workers.engine.compiled.scanlines import (  # noqa: PLC0415  # costs 0.5 s
        join_words,
        undo_differences,
    )

    size = sum(each.nbytes for each in planes)
    if len(packed) == size:
        lines, width = planes[0].shape
        stored = np.frombuffer(packed, "<u2").reshape(lines, len(planes), width)
        for index, each in enumerate(planes):
            each[:] = stored[:, index]
        return True
    try:
        inflated = deflate.zlib_decompress(packed, size)
    except deflate.DeflateError:
        return False
    if len(inflated) != size:
        return False
    parted = np.empty(size, np.uint8)
    undo_differences(np.frombuffer(inflated, np.uint8), parted)
    for index, each in enumerate(planes):
        join_words(parted, index, len(planes), each)
    return True


def _deflate_quickly(lines: Sequence[NDArray[Any]], size: int) -> bytes:
    from glimsum_workers.engine.compiled.scanlines import (  # noqa: PLC0415  # as above
        leave_differences,
        part_words,
    )

    parted, differences = np.empty(size, np.uint8), np.empty(size, np.uint8)
    for index, each in enumerate(lines):
        part_words(np.ascontiguousarray(each).view(np.uint16), index, len(lines), parted)
    leave_differences(parted, differences)
    low, high = differences[: size // 2], differences[size // 2 :]
    if not _is_noise(low):
        return bytes(isal_zlib.compress(differences, _LEVEL))
    check = struct.pack(">I", isal_zlib.adler32(differences))
    return b"".join([_ZLIB_HEADER, *_store(low), _deflate_high(high), check])


def _deflate_high(some: NDArray[np.uint8]) -> Any:
    """Return the last block of a deflate stream: by codes alone, or by matches too."""
    from glimsum_workers.engine.compiled.huffman import (  # noqa: PLC0415  # as above
        SYMBOLS,
        count_symbols,
        deflate_literals,
        room_for,
    )

    counts = np.empty(SYMBOLS, np.int64)
    count_symbols(some, counts)
    if counts.max() > _MOST_ALIKE * some.size:
        return isal_zlib.compress(some, _LEVEL, _RAW_DEFLATE)
    out, pairs = np.empty(room_for(some.size), np.uint8), np.empty((256, 256), np.uint32)
    return out[: deflate_literals(some, counts, pairs, out)].data


def _is_noise(some: NDArray[np.uint8]) -> bool:
    """Return whether bytes differ as much as chance would have them."""
    from glimsum_workers.engine.compiled.scanlines import count_bytes  # noqa: PLC0415  # as above

    counts = np.empty(256, np.int64)
    count_bytes(some, _LOOKED_AT, counts)
    shares = counts[counts > 0] / counts.sum()
    return float(-np.sum(shares * np.log2(shares))) >= _NOISE_BITS


def _store(some: NDArray[np.uint8]) -> list[Any]:
    """Return stored blocks of a deflate stream that goes on behind them (RFC 1951, 3.2.4)."""
    parts: list[Any] = []
    for first in range(0, some.size, _LONGEST_STORED):
        piece = some[first : first + _LONGEST_STORED]
        parts += [struct.pack("<BHH", 0, piece.size, piece.size ^ 0xFFFF), piece.data]
    return parts


def _deflate_plainly(lines: Sequence[NDArray[Any]]) -> bytes:
    raw = np.frombuffer(line_bytes(lines), np.uint8)
    parted = np.concatenate([raw[0::2], raw[1::2]])
    differences = parted.copy()
    differences[1:] -= parted[:-1]
    differences[1:] += np.uint8(128)
    return bytes(isal_zlib.compress(differences, _LEVEL))
