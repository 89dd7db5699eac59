"""Whether a still is whole, told from where its parts lie, without decoding a pixel.

A damaged byte inside compressed pixels shows only when they are decoded; what copying and full
cards do to files, cutting them off, shows here for the price of a few reads.
"""

import os
import struct

from glimsum_jobs.errors import SourceError
from glimsum_jobs.problems import Place
from glimsum_workers.frames.exr_header import BLOCK_HEAD_BYTES, read_header, read_places
from glimsum_workers.frames.limits import kind_by_name

_TAIL_BYTES = 4096


def check_whole(descriptor: int, file: str) -> None:
    """Refuse a still that ends before its pixels do.

    Parameters
    ----------
    descriptor : int
        Open for reading; not closed here.
    file : str
        Name, for its ending and for messages.

    Raises
    ------
    SourceError
        Names the file, its size and what it lacks.

    Notes
    -----
    JPEG ends in an EOI marker (ITU-T T.81), PNG in an IEND chunk (W3C PNG), DPX states where
    its picture begins and how large it is (SMPTE ST 268-1, offsets from memory), the strips
    of TIFF 6.0 and the chunks of OpenEXR lie where their tables say.
    """
    size = os.fstat(descriptor).st_size
    looks = {
        "jpeg": _jpeg_lacks,
        "png": _png_lacks,
        "dpx": _dpx_lacks,
        "tiff": _tiff_lacks,
        "exr": _exr_lacks,
    }
    try:
        lacks = looks[kind_by_name(file).name](descriptor, size)
    except (struct.error, ValueError, IndexError) as error:
        lacks = f"a header that can be read ({error})"
    if lacks:
        raise SourceError(
            "the picture is cut off",
            place=Place(file=file),
            seen=f"{size} bytes",
            expected=lacks,
            remedy="Copy it again from the card, or shoot the frame again.",
        )


def _jpeg_lacks(descriptor: int, size: int) -> str:
    tail = os.pread(descriptor, _TAIL_BYTES, max(size - _TAIL_BYTES, 0))
    return "" if tail.rstrip(b"\0\n").endswith(b"\xff\xd9") else "an end-of-image marker"


def _png_lacks(descriptor: int, size: int) -> str:
    tail = os.pread(descriptor, _TAIL_BYTES, max(size - _TAIL_BYTES, 0))
    return "" if b"IEND\xae\x42\x60\x82" in tail else "the chunk that ends a PNG file"


def _dpx_lacks(descriptor: int, size: int) -> str:
    head = os.pread(descriptor, 820, 0)
    order = ">" if head[:4] == b"SDPX" else "<"
    (offset,) = struct.unpack_from(f"{order}I", head, 4)
    width, height = struct.unpack_from(f"{order}II", head, 772)
    descriptor_code, bits, packing = (
        head[800],
        head[803],
        struct.unpack_from(order + "H", head, 804)[0],
    )
    samples = {6: 1, 50: 3, 51: 4, 52: 4}.get(descriptor_code, 1)
    row = width * samples * bits
    if bits == 10 and packing:
        row = -(-width * samples // 3) * 32
    elif bits == 12 and packing:
        row = width * samples * 16
    needed = offset + -(-row // 32) * 4 * height
    return "" if size >= needed else f"{needed} bytes"


def _tiff_lacks(descriptor: int, size: int) -> str:
    head = os.pread(descriptor, 16, 0)
    order = "<" if head[:2] == b"II" else ">"
    large = struct.unpack_from(order + "H", head, 2)[0] == 43
    place = struct.unpack_from(order + ("Q" if large else "I"), head, 8 if large else 4)[0]
    found = _tiff_entries(descriptor, order, place, large=large)
    for offsets, counts in ((273, 279), (324, 325)):
        if offsets in found and counts in found:
            ends = [at + n for at, n in zip(found[offsets], found[counts], strict=True)]
            needed = max(ends, default=0)
            return "" if size >= needed else f"{needed} bytes"
    return "a table of strips or tiles"


def _tiff_entries(
    descriptor: int, order: str, place: int, *, large: bool
) -> dict[int, tuple[int, ...]]:
    """Return the tables of strip and tile places of the first picture of a TIFF file."""
    count_form, entry_size = (order + "Q", 20) if large else (order + "H", 12)
    count_size = struct.calcsize(count_form)
    (count,) = struct.unpack(count_form, os.pread(descriptor, count_size, place))
    entries = os.pread(descriptor, min(count, 4096) * entry_size, place + count_size)
    found: dict[int, tuple[int, ...]] = {}
    for start in range(0, len(entries) - entry_size + 1, entry_size):
        tag, kind = struct.unpack_from(order + "HH", entries, start)
        if tag not in (273, 279, 324, 325):
            continue
        letter = {3: "H", 4: "I", 16: "Q"}[kind]
        (number,) = struct.unpack_from(order + ("Q" if large else "I"), entries, start + 4)
        length = number * struct.calcsize(letter)
        inline = start + (12 if large else 8)
        if length <= (8 if large else 4):
            data = entries[inline : inline + length]
        else:
            (at,) = struct.unpack_from(order + ("Q" if large else "I"), entries, inline)
            data = os.pread(descriptor, length, at)
        found[tag] = struct.unpack(f"{order}{number}{letter}", data)
    return found


def _exr_lacks(descriptor: int, size: int) -> str:
    header = read_header(descriptor)
    if header is None:
        # Rare as passes: decoding tells whether they are whole.
        return ""
    places = read_places(descriptor, header)
    if 0 in places:
        return "a table of chunks without a hole"
    last = max(places)
    head = os.pread(descriptor, BLOCK_HEAD_BYTES, last)
    needed = last + BLOCK_HEAD_BYTES + struct.unpack("<iI", head)[1]
    return "" if size >= needed else f"{needed} bytes"
