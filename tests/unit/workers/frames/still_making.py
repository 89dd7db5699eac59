"""Stills written byte by byte from their standards, or by other libraries."""

import os
import struct
import zlib
from collections.abc import Mapping
from pathlib import Path

import numpy as np
import OpenEXR
import tifffile
from numpy.typing import NDArray
from PIL import Image

from glimsum_workers.engine.codes import FloatPixels, RgbCodes
from glimsum_workers.frames.stills import read_still

ODD = np.random.default_rng(7).integers(0, 65536, (37, 53, 4), dtype=np.uint16)


def read(path: Path) -> RgbCodes | FloatPixels:
    descriptor = os.open(path, os.O_RDONLY)
    try:
        return read_still(descriptor, path.name)
    finally:
        os.close(descriptor)


def dpx(codes: NDArray[np.integer], order: str) -> bytes:
    """SMPTE ST 268-1: one 10-bit RGB element, three codes a word, filled to 32 bits, method A."""
    height, width, _ = codes.shape
    head = bytearray(2048)
    words = codes.astype(np.uint32)
    packed = words[..., 0] << 22 | words[..., 1] << 12 | words[..., 2] << 2
    body = packed.astype(f"{order}u4").tobytes()
    struct.pack_into(f"{order}4sI", head, 0, b"SDPX" if order == ">" else b"XPDS", 2048)
    head[0:4] = b"SDPX" if order == ">" else b"XPDS"
    head[8:16] = b"V1.0\0\0\0\0"
    struct.pack_into(f"{order}IIII", head, 16, 2048 + len(body), 1, 1664, 384)
    struct.pack_into(f"{order}HHII", head, 768, 0, 1, width, height)
    struct.pack_into(f"{order}I", head, 780, 0)
    # descriptor 50 = R, G, B; transfer 0, colorimetric 0; 10 bits; packing 1 = method A
    struct.pack_into(f"{order}BBBBHHI", head, 800, 50, 0, 0, 10, 1, 0, 2048)
    return bytes(head) + body


def png(codes: NDArray[np.uint16]) -> bytes:
    """W3C PNG: 16 bit, colour type 2 or 6, no filter."""
    height, width, channels = codes.shape

    def chunk(name: bytes, data: bytes) -> bytes:
        return (
            struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))
        )

    rows = b"".join(b"\0" + row.astype(">u2").tobytes() for row in codes)
    colour_type = 2 if channels == 3 else 6
    header = struct.pack(">IIBBBBB", width, height, 16, colour_type, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", header)
        + chunk(b"IDAT", zlib.compress(rows))
        + chunk(b"IEND", b"")
    )


def write_exr(path: Path, channels: Mapping[str, NDArray[np.generic]], **header: object) -> None:
    with OpenEXR.File({"compression": OpenEXR.ZIP_COMPRESSION, **header}, dict(channels)) as file:
        file.write(str(path))


def whole_files(folder: Path) -> dict[str, bytes]:
    rgb = ODD[..., :3]
    (folder / "w.dpx").write_bytes(dpx(rgb >> 6, ">"))
    (folder / "w.png").write_bytes(png(rgb))
    tifffile.imwrite(folder / "w.tif", rgb, photometric="rgb")
    tifffile.imwrite(folder / "w.tiff", rgb, photometric="rgb", compression="deflate")
    Image.fromarray((rgb >> 8).astype(np.uint8)).save(folder / "w.jpg", quality=95)
    planes = {name: (rgb[..., i] / 65535).astype(np.float16) for i, name in enumerate("RGB")}
    write_exr(folder / "w.exr", planes)
    return {path.suffix: path.read_bytes() for path in folder.glob("w.*")}
