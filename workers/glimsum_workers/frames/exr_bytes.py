"""Lay out an OpenEXR scan-line file byte by byte: the same picture gives the same bytes.

Written here, not by a library, because no library at hand writes every attribute with its
standard type and the deflate of a general one takes most of a frame's time. Source: OpenEXR
File Layout.
"""

import struct
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.frames.exr_blocks import line_bytes, pack_block

Compression = Literal["none", "zips", "zip"]

_MAGIC = 20000630
_VERSION = 2
_LONG_NAMES = 0x400
_SHORT_NAME_BYTES = 31
_CODES: dict[Compression, int] = {"none": 0, "zips": 2, "zip": 3}
_ROWS: dict[Compression, int] = {"none": 1, "zips": 1, "zip": 16}
_HALF, _FLOAT = 1, 2


@dataclass(frozen=True)
class Attribute:
    """One attribute of the header.

    Attributes
    ----------
    kind : str
        Type name of the OpenEXR file layout, for example ``rational``.
    data : bytes
        The value, little-endian.
    """

    kind: str
    data: bytes


def text(value: str) -> Attribute:
    """Return a string attribute, UTF-8."""
    return Attribute("string", value.encode())


def whole(value: int) -> Attribute:
    """Return an int attribute, 32 bits."""
    return Attribute("int", struct.pack("<i", value))


def real(value: float) -> Attribute:
    """Return a float attribute, 32 bits."""
    return Attribute("float", struct.pack("<f", value))


def reals(kind: str, values: tuple[float, ...]) -> Attribute:
    """Return an attribute of several 32-bit floats: v2f, chromaticities."""
    return Attribute(kind, struct.pack(f"<{len(values)}f", *values))


def rational(numerator: int, denominator: int) -> Attribute:
    """Return a rational attribute: int over unsigned int, 32 bits each."""
    return Attribute("rational", struct.pack("<iI", numerator, denominator))


def lay_out(
    planes: Mapping[str, NDArray[np.float16] | NDArray[np.float32]],
    attributes: Mapping[str, Attribute],
    compression: Compression,
    *,
    corner: tuple[int, int] = (0, 0),
    display: tuple[int, int] | None = None,
) -> bytes:
    """Return a whole file.

    Parameters
    ----------
    planes : mapping of str to array (height, width)
        Channels by name, all float16 or all float32, stored as they are.
    attributes : mapping of str to Attribute
        Beside the required ones, which are made here.
    compression : {'none', 'zips', 'zip'}
        All three lose nothing.
    corner : tuple of int, optional
        x and y of the first sample in the display window.
    display : tuple of int, optional
        (height, width) of the display window; default: that of the planes.

    Returns
    -------
    bytes
        The file; equal arguments give equal bytes with the same deflate library.
    """
    names = sorted(planes)
    ordered = [planes[name] for name in names]
    height, width = ordered[0].shape
    left, top = corner
    shown = (height, width) if display is None else display
    windows = {
        "dataWindow": (left, top, left + width - 1, top + height - 1),
        "displayWindow": (0, 0, shown[1] - 1, shown[0] - 1),
    }
    head = _header(names, ordered[0].dtype.itemsize, windows, attributes, compression)
    chunks = list(_chunks(ordered, compression, top))
    sizes = np.array([len(chunk) for chunk in chunks], np.uint64)
    first = len(head) + 8 * len(chunks)
    offsets = (first + np.concatenate(([0], np.cumsum(sizes)[:-1]))).astype("<u8")
    return b"".join([head, offsets.tobytes(), *chunks])


def _chunks(planes: list[NDArray[Any]], compression: Compression, first: int) -> Iterator[bytes]:
    rows, little = _ROWS[compression], planes[0].dtype.newbyteorder("<")
    pack = line_bytes if compression == "none" else pack_block
    for top in range(0, len(planes[0]), rows):
        packed = pack([np.asarray(plane[top : top + rows], little) for plane in planes])
        yield struct.pack("<ii", first + top, len(packed)) + packed


def _header(
    names: list[str],
    sample_bytes: int,
    windows: Mapping[str, tuple[int, int, int, int]],
    attributes: Mapping[str, Attribute],
    compression: Compression,
) -> bytes:
    kind = _HALF if sample_bytes == 2 else _FLOAT
    channels = b"".join(
        name.encode() + b"\0" + struct.pack("<iB3xii", kind, 0, 1, 1) for name in names
    )
    required = {
        "channels": Attribute("chlist", channels + b"\0"),
        "compression": Attribute("compression", bytes([_CODES[compression]])),
        **{name: Attribute("box2i", struct.pack("<4i", *box)) for name, box in windows.items()},
        "lineOrder": Attribute("lineOrder", b"\0"),
        "pixelAspectRatio": real(1.0),
        "screenWindowCenter": reals("v2f", (0.0, 0.0)),
        "screenWindowWidth": real(1.0),
    }
    every = {**attributes, **required}
    longest = max(len(name.encode()) for name in (*every, *names))
    version = _VERSION | (_LONG_NAMES if longest > _SHORT_NAME_BYTES else 0)
    parts = [struct.pack("<II", _MAGIC, version)]
    for name in sorted(every):
        attribute = every[name]
        parts.append(name.encode() + b"\0" + attribute.kind.encode() + b"\0")
        parts.append(struct.pack("<i", len(attribute.data)) + attribute.data)
    return b"".join([*parts, b"\0"])
