"""Pictures written by other libraries, or by us from the standard, read back code by code."""

import os
import struct
import zlib
from collections.abc import Mapping
from pathlib import Path

import numpy as np
import OpenEXR
import pytest
import tifffile
from numpy.typing import NDArray
from PIL import Image

from glimsum_jobs.errors import SourceError
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


@pytest.mark.parametrize("order", ["<", ">"])
def test_ten_bit_dpx_gives_ten_bit_codes(tmp_path: Path, order: str) -> None:
    codes = ODD[..., :3] >> 6
    (tmp_path / "a.dpx").write_bytes(dpx(codes, order))

    got = read(tmp_path / "a.dpx")

    assert isinstance(got, RgbCodes)
    assert (got.bits, got.alpha, got.alpha_associated) == (10, None, True)
    np.testing.assert_array_equal(got.values, codes)


def test_every_ten_bit_code_survives_dpx(tmp_path: Path) -> None:
    codes = np.arange(1024, dtype=np.uint16).reshape(32, 32, 1).repeat(3, axis=2)
    (tmp_path / "a.dpx").write_bytes(dpx(codes, ">"))

    got = read(tmp_path / "a.dpx")

    assert isinstance(got, RgbCodes)
    np.testing.assert_array_equal(got.values, codes)


@pytest.mark.parametrize("compression", [None, "deflate"])
def test_sixteen_bit_tiff_gives_its_codes(tmp_path: Path, compression: str | None) -> None:
    tifffile.imwrite(tmp_path / "a.tif", ODD[..., :3], photometric="rgb", compression=compression)

    got = read(tmp_path / "a.tif")

    assert isinstance(got, RgbCodes)
    assert (got.bits, got.alpha) == (16, None)
    np.testing.assert_array_equal(got.values, ODD[..., :3])


@pytest.mark.parametrize(("kind", "associated"), [("assocalpha", True), ("unassalpha", False)])
def test_tiff_colour_is_kept_as_stored_and_its_alpha_kind_told(
    tmp_path: Path, kind: str, associated: bool
) -> None:
    tifffile.imwrite(tmp_path / "a.tif", ODD, photometric="rgb", extrasamples=[kind])

    got = read(tmp_path / "a.tif")

    assert isinstance(got, RgbCodes)
    assert got.alpha_associated is associated
    np.testing.assert_array_equal(got.values, ODD[..., :3])
    assert got.alpha is not None
    np.testing.assert_array_equal(np.rint(got.alpha * 65535), ODD[..., 3])


def test_float_tiff_keeps_negative_and_large_values(tmp_path: Path) -> None:
    values = (ODD[..., :3].astype(np.float32) - 30000) / 7
    tifffile.imwrite(tmp_path / "a.tif", values, photometric="rgb")

    got = read(tmp_path / "a.tif")

    assert isinstance(got, FloatPixels)
    np.testing.assert_array_equal(got.values, values)


@pytest.mark.parametrize("channels", [3, 4])
def test_sixteen_bit_png_is_not_multiplied_by_its_alpha(tmp_path: Path, channels: int) -> None:
    (tmp_path / "a.png").write_bytes(png(ODD[..., :channels]))

    got = read(tmp_path / "a.png")

    assert isinstance(got, RgbCodes)
    assert (got.bits, got.alpha_associated) == (16, channels == 3)
    np.testing.assert_array_equal(got.values, ODD[..., :3])
    assert (got.alpha is None) == (channels == 3)


@pytest.mark.parametrize("subsampling", [0, 2])
def test_jpeg_gives_the_codes_another_decoder_gives(tmp_path: Path, subsampling: int) -> None:
    smooth = np.linspace(0, 255, 37 * 53 * 3).reshape(37, 53, 3).astype(np.uint8)
    Image.fromarray(smooth).save(tmp_path / "a.jpg", quality=92, subsampling=subsampling)

    got = read(tmp_path / "a.jpg")

    assert isinstance(got, RgbCodes)
    assert (got.bits, got.alpha) == (8, None)
    # Pillow, another reader. Two builds of a decoder may round one code apart.
    with Image.open(tmp_path / "a.jpg") as picture:
        other = np.asarray(picture).astype(int)
    assert int(np.abs(got.values.astype(int) - other).max()) <= 1


@pytest.mark.parametrize("kind", ["png", "jpg", "tif"])
def test_a_grey_picture_fills_all_three_channels(tmp_path: Path, kind: str) -> None:
    grey = np.arange(35, dtype=np.uint8).reshape(5, 7) * 7
    Image.fromarray(grey).save(tmp_path / f"a.{kind}", quality=100)

    got = read(tmp_path / f"a.{kind}")

    assert isinstance(got, RgbCodes)
    assert got.values.shape == (5, 7, 3)
    assert int(np.abs(got.values[..., 0].astype(int) - grey).max()) <= (2 if kind == "jpg" else 0)
    np.testing.assert_array_equal(got.values[..., 0], got.values[..., 2])


def write_exr(path: Path, channels: Mapping[str, NDArray[np.generic]], **header: object) -> None:
    with OpenEXR.File({"compression": OpenEXR.ZIP_COMPRESSION, **header}, dict(channels)) as file:
        file.write(str(path))


@pytest.mark.parametrize("kind", [np.float16, np.float32])
@pytest.mark.parametrize(
    "compression",
    ["NO", "RLE", "ZIPS", "ZIP", "PIZ"],
)
def test_lossless_exr_gives_its_floats(
    tmp_path: Path, kind: type[np.floating], compression: str
) -> None:
    values = ((ODD.astype(np.float32) - 30000) / 4096).astype(kind)
    planes = {name: np.ascontiguousarray(values[..., i]) for i, name in enumerate("RGBA")}
    write_exr(
        tmp_path / "a.exr",
        planes,
        compression=getattr(OpenEXR, f"{compression}_COMPRESSION"),
    )

    got = read(tmp_path / "a.exr")

    assert isinstance(got, FloatPixels)
    assert got.values.dtype == np.float32
    np.testing.assert_array_equal(got.values, values[..., :3].astype(np.float32))
    np.testing.assert_array_equal(got.alpha, values[..., 3].astype(np.float32))


@pytest.mark.parametrize("names", ["RGB", "RGBA"])
def test_an_exr_is_read_over_its_display_window(tmp_path: Path, names: str) -> None:
    planes = {name: np.full((4, 6), 2, np.float16) for name in names}
    window = (np.array([0, 0], np.int32), np.array([9, 7], np.int32))
    # Data from x -2 to 3 and y 5 to 8: it sticks out on the left and at the bottom.
    data = (np.array([-2, 5], np.int32), np.array([3, 8], np.int32))
    write_exr(tmp_path / "a.exr", planes, displayWindow=window, dataWindow=data)

    got = read(tmp_path / "a.exr")

    expected = np.zeros((8, 10), np.float32)
    expected[5:8, 0:4] = 2
    assert isinstance(got, FloatPixels)
    np.testing.assert_array_equal(got.values[..., 0], expected)
    if names == "RGBA":
        np.testing.assert_array_equal(got.alpha, expected)
    else:
        assert got.alpha is None


def test_a_single_layer_is_read_and_depth_left_out(tmp_path: Path) -> None:
    planes = {f"key.{name}": np.full((3, 3), i, np.float16) for i, name in enumerate("RGB")}
    write_exr(tmp_path / "a.exr", {**planes, "Z": np.zeros((3, 3), np.float32)})

    got = read(tmp_path / "a.exr")

    assert isinstance(got, FloatPixels)
    np.testing.assert_array_equal(got.values[1, 1], [0, 1, 2])


def test_two_layers_are_refused_by_name(tmp_path: Path) -> None:
    planes = {
        f"{layer}.{name}": np.zeros((3, 3), np.float16)
        for layer in ("fill", "key")
        for name in "RGB"
    }
    write_exr(tmp_path / "a.exr", planes)

    with pytest.raises(SourceError, match=r"a\.exr.*fill\.R.*key\.B.*expected: R, G, B"):
        read(tmp_path / "a.exr")


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


@pytest.mark.parametrize("share", [0.99, 0.7, 0.3, 0.05])
@pytest.mark.parametrize("suffix", [".dpx", ".png", ".tif", ".tiff", ".jpg", ".exr"])
def test_a_file_cut_off_is_refused_with_its_size(tmp_path: Path, suffix: str, share: float) -> None:
    whole = whole_files(tmp_path)[suffix]
    size = int(len(whole) * share)
    (tmp_path / f"cut{suffix}").write_bytes(whole[:size])

    words = (
        rf"(cut off or damaged|can't be opened).*cut{suffix}.*seen: {size} bytes.*expected: a whole"
    )
    with pytest.raises(SourceError, match=words):
        read(tmp_path / f"cut{suffix}")


def test_a_jpeg_without_its_end_is_refused(tmp_path: Path) -> None:
    # ISO 10918-1: a picture ends with EOI, FF D9. A reader that fills the rest with grey would
    # hand a broken picture on.
    whole = whole_files(tmp_path)[".jpg"]
    (tmp_path / "cut.jpg").write_bytes(whole[: whole.rindex(b"\xff\xd9") - 40])

    with pytest.raises(SourceError, match=r"cut off.*cut\.jpg.*bytes.*expected: a whole picture"):
        read(tmp_path / "cut.jpg")


@pytest.mark.parametrize("name", ["a.dpx", "a.exr", "a.png", "a.jpg", "a.tif"])
def test_an_empty_file_is_refused(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_bytes(b"")

    with pytest.raises(SourceError, match=rf"is empty.*{name}.*seen: 0 bytes; expected: an? "):
        read(tmp_path / name)


def test_a_header_with_damaged_names_is_refused(tmp_path: Path) -> None:
    whole = bytearray(whole_files(tmp_path)[".exr"])
    whole[whole.index(b"channels\0chlist") + 20] = 0xEB
    (tmp_path / "a.exr").write_bytes(bytes(whole))

    with pytest.raises(SourceError, match=r"a\.exr"):
        read(tmp_path / "a.exr")


def test_content_of_another_kind_is_refused_with_both_kinds(tmp_path: Path) -> None:
    (tmp_path / "a.exr").write_bytes(whole_files(tmp_path)[".tif"])

    with pytest.raises(SourceError, match=r"a\.exr.*seen: tiff; expected: exr"):
        read(tmp_path / "a.exr")


def test_content_of_no_kind_is_shown_as_bytes(tmp_path: Path) -> None:
    (tmp_path / "a.exr").write_bytes(b"#!/bin/sh\nexit")

    with pytest.raises(SourceError, match=r"a\.exr.*23 21 2f 62.*14 bytes.*expected: exr"):
        read(tmp_path / "a.exr")


@pytest.mark.parametrize("name", ["a.bmp", "a.gif", "a.dng", "exr"])
def test_an_unknown_ending_is_answered_with_our_list(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_bytes(b"BM")

    with pytest.raises(
        SourceError, match=rf"not read.*{name}.*one of \.exr, \.dpx, \.tif, .*\.mov"
    ):
        read(tmp_path / name)


def test_a_picture_past_the_largest_side_is_refused_when_opened(tmp_path: Path) -> None:
    Image.new("1", (20000, 4)).save(tmp_path / "a.png")

    with pytest.raises(SourceError, match=r"can't be opened.*a\.png.*20000.*16384 x 16384"):
        read(tmp_path / "a.png")


def test_too_many_channels_are_refused(tmp_path: Path) -> None:
    write_exr(tmp_path / "a.exr", {f"c{i:02}": np.zeros((2, 2), np.float16) for i in range(65)})

    with pytest.raises(SourceError, match=r"a\.exr.*65.*64 channels"):
        read(tmp_path / "a.exr")


def test_inks_are_refused(tmp_path: Path) -> None:
    Image.new("CMYK", (8, 8), (10, 20, 30, 40)).save(tmp_path / "a.jpg")
    tifffile.imwrite(tmp_path / "a.tif", ODD, photometric="separated")

    for name in ("a.jpg", "a.tif"):
        with pytest.raises(SourceError, match=rf"colour model is not read.*{name}.*expected: RGB"):
            read(tmp_path / name)


def test_whole_numbers_of_32_bits_are_refused(tmp_path: Path) -> None:
    tifffile.imwrite(tmp_path / "a.tif", ODD[..., :3].astype(np.uint32), photometric="rgb")

    with pytest.raises(SourceError, match=r"type are not read.*a\.tif.*uint.*8 to 16 bit"):
        read(tmp_path / "a.tif")


def test_reading_leaves_nothing_open_or_behind(tmp_path: Path) -> None:
    whole_files(tmp_path)
    read(tmp_path / "w.dpx")
    before = len(list(Path("/proc/self/fd").iterdir()))

    for suffix in (".dpx", ".png", ".exr", ".jpg", ".tif"):
        read(tmp_path / f"w{suffix}")

    assert len(list(Path("/proc/self/fd").iterdir())) == before
