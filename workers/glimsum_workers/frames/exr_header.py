"""What the header of a single-part scan-line OpenEXR file says, and where its blocks lie.

Source: OpenEXR File Layout.
"""

import os
import struct
from dataclasses import dataclass

_HEADER_BYTES = 1 << 20
_OTHER_FORMS = 0x200 | 0x800 | 0x1000
"""Bits of the version field: tiled, deep, more than one part."""
_BLOCK_LINES = {3: 16, 4: 32, 5: 16, 6: 32, 7: 32, 8: 32, 9: 256}
"""Scan lines a block, by compression: ZIP, PIZ, PXR24, B44, B44A, DWAA, DWAB; else 1."""
BLOCK_HEAD_BYTES = 8
"""Before each block: its first line and its length, 32 bits each."""


@dataclass(frozen=True)
class ExrHeader:
    """The header of a file.

    Attributes
    ----------
    attributes : dict of bytes to bytes
        Values as they are stored, by name.
    end : int
        Where the table of blocks begins.
    """

    attributes: dict[bytes, bytes]
    end: int

    @property
    def compression(self) -> int:
        """Return the number of the compression."""
        return self.attributes[b"compression"][0]

    @property
    def window(self) -> tuple[int, int, int, int]:
        """Return the data window: left, top, right, bottom, all of them inside."""
        left, top, right, bottom = struct.unpack("<iiii", self.attributes[b"dataWindow"])
        return left, top, right, bottom

    @property
    def block_lines(self) -> int:
        """Return how many scan lines a block holds; the last one may hold fewer."""
        return _BLOCK_LINES.get(self.compression, 1)


def read_header(descriptor: int) -> ExrHeader | None:
    """Read a header.

    Parameters
    ----------
    descriptor : int
        Of an OpenEXR file open for reading.

    Returns
    -------
    ExrHeader or None
        None for a tiled, deep or multi-part file.

    Raises
    ------
    struct.error, ValueError, IndexError
        It is cut off, damaged, or longer than 1 MiB.
    """
    head = os.pread(descriptor, _HEADER_BYTES, 0)
    if struct.unpack_from("<I", head, 4)[0] & _OTHER_FORMS:
        return None
    at, attributes = 8, {}
    while head[at] != 0:
        end = head.index(b"\0", at)
        end_of_type = head.index(b"\0", end + 1)
        (length,) = struct.unpack_from("<I", head, end_of_type + 1)
        value = end_of_type + 5
        attributes[head[at:end]] = head[value : value + length]
        at = value + length
    return ExrHeader(attributes, at + 1)


def read_places(descriptor: int, header: ExrHeader) -> tuple[int, ...]:
    """Return where the blocks lie, from the first line down; 0 stands for one that is missing.

    Raises
    ------
    struct.error, KeyError
        The table is cut off, or the header lacks what tells its length.
    """
    _, top, _, bottom = header.window
    count = -(-(bottom - top + 1) // header.block_lines)
    table = os.pread(descriptor, 8 * count, header.end)
    return struct.unpack(f"<{count}Q", table)
