"""Pictures written by other libraries, or by us from the standard, read back code by code."""

from pathlib import Path

import numpy as np
import OpenEXR
import pytest
import tifffile
from PIL import Image

from glimsum_jobs.errors import SourceError
from glimsum_workers.engine.codes import FloatPixels, RgbCodes
from unit.workers.frames.still_making import ODD, dpx, png, read, write_exr


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
