"""OpenEXR files of plain half-float colour, read block by block straight into planes.

For ZIP alone, which passes mostly come in: in the other compressions the standard's own library
is as fast. Whatever is not as expected is left to it.
"""

import os
import re
import struct

import numpy as np

from glimsum_workers.engine.laying import Halves, is_worth_it
from glimsum_workers.frames.exr_blocks import unpack_block
from glimsum_workers.frames.exr_header import (
    BLOCK_HEAD_BYTES,
    ExrHeader,
    read_header,
    read_places,
)

_ZIP = 3
_HALF_EACH = re.escape(struct.pack("<i", 1)) + b"...." + re.escape(struct.pack("<ii", 1, 1))
"""Type half, a hint and reserved bytes, and no sample left out either way."""
_CHANNELS = re.compile(
    b"".join(name + b"\0" + _HALF_EACH for name in (b"B", b"G", b"R")), re.DOTALL
)


def read_zip_planes(descriptor: int, size: tuple[int, int]) -> Halves | None:
    """Read the planes of a ZIP file of half-float R, G, B.

    Parameters
    ----------
    descriptor : int
        Open for reading; not closed here.
    size : tuple of int
        (height, width) of the data window.

    Returns
    -------
    Halves or None
        Exactly as stored; NaN and infinity too. None where the file is of another form, too small
        to be worth it, cut off or damaged; each block's check sum (Adler-32) is compared.
    """
    if not is_worth_it(size):
        return None
    try:
        header = read_header(descriptor)
        if header is None or not _is_plain(header, size):
            return None
        return _read_blocks(descriptor, header, size)
    except (struct.error, ValueError, IndexError, KeyError, OverflowError, OSError):
        return None


def _is_plain(header: ExrHeader, size: tuple[int, int]) -> bool:
    left, top, right, bottom = header.window
    return (
        header.compression == _ZIP
        and _CHANNELS.fullmatch(header.attributes[b"channels"][:-1]) is not None
        and (bottom - top + 1, right - left + 1) == size
    )


def _read_blocks(descriptor: int, header: ExrHeader, size: tuple[int, int]) -> Halves | None:
    top, lines = header.window[1], header.block_lines
    planes = np.empty((3, *size), np.uint16)
    longest = 6 * lines * size[1]
    for index, place in enumerate(read_places(descriptor, header)):
        first = index * lines
        line, length = struct.unpack("<iI", os.pread(descriptor, BLOCK_HEAD_BYTES, place))
        if line != top + first or length > longest:
            return None
        packed = os.pread(descriptor, length, place + BLOCK_HEAD_BYTES)
        rows = [plane[first : first + lines] for plane in planes]
        if len(packed) != length or not unpack_block(packed, rows):
            return None
    blue, green, red = planes.view(np.float16)
    return red, green, blue
