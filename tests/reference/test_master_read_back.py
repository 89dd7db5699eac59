"""Our masters read by two other libraries: OpenEXR's own module and OpenImageIO.

Names and types of the attributes: the standard attributes of the OpenEXR documentation.
Timecode labels: SMPTE ST 12-1; the drop-frame pairs are common knowledge of the trade.
"""

import hashlib
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import OpenEXR
import OpenImageIO
import pytest
from numpy.typing import NDArray

from glimsum_workers.engine.resample.window import Window
from glimsum_workers.frames.exr_bytes import Compression
from glimsum_workers.frames.master_reading import read_master
from glimsum_workers.frames.masters import MasterAttributes, digest_file, write_master
from glimsum_workers.frames.timecodes import Timecode

# Academy S-2014-004: the primaries and white of ACEScg (AP1).
AP1 = (0.713, 0.293, 0.165, 0.830, 0.128, 0.044, 0.32168, 0.33767)
TOLD = MasterAttributes(
    chromaticities=AP1,
    color_interop_id="lin_ap1_scene",
    rate=Fraction(24000, 1001),
    frame=1009,
    timecode=Timecode(1, 23, 45, 6),
    captured="2026:11:02 21:14:05",
    exposure_seconds=4.0,
    f_number=16.0,
    iso=100.0,
    own={"glimsum:recipeFingerprint": "ab" * 32, "glimsum:measurementsUsed": "{}"},
)
SIZES = [(1080, 64), (37, 51), (1, 1), (16, 5), (17, 3), (540, 960)]


def picture(height: int, width: int, seed: int = 0) -> NDArray[np.float32]:
    """Light with noise below zero and lamps far above one."""
    random = np.random.default_rng(seed)
    return (random.gamma(0.6, 1.2, (height, width, 3)) - 0.05).astype(np.float32)


def read_exr(path: Path) -> tuple[dict[str, Any], dict[str, NDArray[Any]]]:
    with OpenEXR.File(str(path), separate_channels=True) as file:
        return dict(file.header()), {n: c.pixels for n, c in file.channels().items()}


@pytest.mark.parametrize("compression", ["none", "zips", "zip"])
@pytest.mark.parametrize("size", SIZES)
def test_two_other_readers_see_every_half_bit(
    tmp_path: Path, size: tuple[int, int], compression: Compression
) -> None:
    rgb = picture(*size)

    write_master(tmp_path, "a.exr", rgb, None, TOLD, compression=compression, token="t")

    expected = rgb.astype(np.float16)
    _, channels = read_exr(tmp_path / "a.exr")
    assert sorted(channels) == ["B", "G", "R"]
    for index, name in enumerate("RGB"):
        assert channels[name].dtype == np.float16
        np.testing.assert_array_equal(
            channels[name].view(np.uint16), expected[..., index].view(np.uint16)
        )
    other = OpenImageIO.ImageInput.open(str(tmp_path / "a.exr"))
    assert other is not None
    pixels = other.read_image(0, 0, 0, 3, "half")
    assert pixels is not None
    np.testing.assert_array_equal(pixels, expected)
    assert other.spec().get_string_attribute("compression") == compression


def test_float_masters_keep_every_bit(tmp_path: Path) -> None:
    rgb = picture(33, 21)

    write_master(tmp_path, "a.exr", rgb, None, TOLD, pixel="float", token="t")

    _, channels = read_exr(tmp_path / "a.exr")
    np.testing.assert_array_equal(channels["G"], rgb[..., 1])
    assert channels["G"].dtype == np.float32


def test_noise_that_no_deflate_shrinks_is_stored_as_it_is(tmp_path: Path) -> None:
    bits = np.random.default_rng(1).integers(0, 2**32, (40, 30, 3), dtype=np.uint32)
    rgb = np.nan_to_num(bits.view(np.float32), nan=1.0, posinf=2.0, neginf=-2.0)

    write_master(tmp_path, "a.exr", rgb, None, TOLD, pixel="float", token="t")

    _, channels = read_exr(tmp_path / "a.exr")
    np.testing.assert_array_equal(channels["R"], rgb[..., 0])


def test_coverage_is_written_only_where_it_is_not_whole(tmp_path: Path) -> None:
    rgb, alpha = picture(20, 30), np.ones((20, 30), np.float32)

    write_master(tmp_path, "whole.exr", rgb, alpha, TOLD, token="t")
    alpha[3, 4] = 0.25
    write_master(tmp_path, "part.exr", rgb, alpha, TOLD, token="t")

    assert "A" not in read_exr(tmp_path / "whole.exr")[1]
    assert read_exr(tmp_path / "part.exr")[1]["A"][3, 4] == 0.25


def test_attributes_have_the_names_types_and_values_of_the_standard(tmp_path: Path) -> None:
    write_master(tmp_path, "a.exr", picture(8, 8), None, TOLD, token="t")

    header, _ = read_exr(tmp_path / "a.exr")

    np.testing.assert_allclose(header["chromaticities"], AP1, atol=1e-7)
    assert header["colorInteropID"] == "lin_ap1_scene"
    assert header["framesPerSecond"] == Fraction(24000, 1001)
    assert header["imageCounter"] == 1009
    assert header["capDate"] == "2026:11:02 21:14:05"
    assert (header["expTime"], header["aperture"], header["isoSpeed"]) == (4.0, 16.0, 100.0)
    assert header["glimsum:recipeFingerprint"] == "ab" * 32
    code = header["timeCode"]
    assert (code.hours, code.minutes, code.seconds, code.frame) == (1, 23, 45, 6)
    assert not code.dropFrame


def test_the_other_library_sees_the_same_types(tmp_path: Path) -> None:
    write_master(tmp_path, "a.exr", picture(8, 8), None, TOLD, token="t")

    other = OpenImageIO.ImageInput.open(str(tmp_path / "a.exr"))
    assert other is not None
    told = {a.name: (str(a.type), a.value) for a in other.spec().extra_attribs}

    assert told["framesPerSecond"] == ("rational", (24000, 1001))
    assert told["imageCounter"] == ("int", 1009)
    assert told["smpte:TimeCode"] == ("timecode", (0x01234506, 0))
    assert other.spec().get_string_attribute("smpte:TimeCode") == "01:23:45:06"
    assert told["ExposureTime"] == ("float", 4.0)
    assert told["DateTime"] == ("string", "2026:11:02 21:14:05")
    assert told["chromaticities"][0] == "float[8]"


def test_a_drop_timecode_keeps_its_mark(tmp_path: Path) -> None:
    told = MasterAttributes(
        AP1, "lin_ap1_scene", Fraction(30000, 1001), 1, Timecode(0, 1, 0, 2, drop=True)
    )
    write_master(tmp_path, "a.exr", picture(8, 8), None, told, token="t")

    assert read_exr(tmp_path / "a.exr")[0]["timeCode"].dropFrame


def test_an_attribute_with_a_long_name_is_read(tmp_path: Path) -> None:
    # OpenEXR file layout: names past 31 bytes need bit 10 of the version field.
    told = MasterAttributes(AP1, "lin_ap1_scene", Fraction(24), 1, own={"glimsum:" + "n" * 40: "x"})
    write_master(tmp_path, "a.exr", picture(8, 8), None, told, token="t")

    assert read_exr(tmp_path / "a.exr")[0]["glimsum:" + "n" * 40] == "x"


def test_the_same_frame_gives_the_same_bytes_whoever_writes_it(tmp_path: Path) -> None:
    first = write_master(tmp_path, "a.exr", picture(50, 40), None, TOLD, token="one")
    second = write_master(tmp_path, "b.exr", picture(50, 40), None, TOLD, token="two")

    assert (tmp_path / "a.exr").read_bytes() == (tmp_path / "b.exr").read_bytes()
    assert first.file_digest == second.file_digest == digest_file(tmp_path / "a.exr")
    assert first.size == (tmp_path / "a.exr").stat().st_size


def test_the_pixel_digest_is_of_the_stored_samples_alone(tmp_path: Path) -> None:
    rgb = picture(50, 40)
    zip_ = write_master(tmp_path, "a.exr", rgb, None, TOLD, token="t")
    none = write_master(tmp_path, "b.exr", rgb, None, TOLD, compression="none", token="t")
    other = write_master(tmp_path, "c.exr", picture(50, 40, seed=1), None, TOLD, token="t")
    by_hand = hashlib.sha256()
    for index, name in ((2, "B"), (1, "G"), (0, "R")):
        by_hand.update(f"{name} 40x50 float16\n".encode())
        by_hand.update(rgb[..., index].astype("<f2").tobytes())

    assert zip_.pixel_digest == none.pixel_digest == by_hand.hexdigest()
    assert zip_.file_digest != none.file_digest
    assert zip_.pixel_digest != other.pixel_digest


def test_light_past_the_largest_half_is_clamped_and_counted(tmp_path: Path) -> None:
    rgb = picture(4, 4)
    rgb[0, 0, 0], rgb[1, 1, 1] = 1e6, -1e6

    written = write_master(tmp_path, "a.exr", rgb, None, TOLD, token="t")

    _, channels = read_exr(tmp_path / "a.exr")
    assert written.clamped == 2
    # IEEE 754 binary16: the largest finite value.
    assert (channels["R"][0, 0], channels["G"][1, 1]) == (65504, -65504)


def test_our_own_reader_gives_back_what_was_written(tmp_path: Path) -> None:
    rgb, alpha = picture(37, 51), np.full((37, 51), 0.5, np.float32)
    write_master(tmp_path, "a.exr", rgb, alpha, TOLD, token="t")

    back, coverage, attributes = read_master(tmp_path / "a.exr")

    np.testing.assert_array_equal(back, rgb.astype(np.float16).astype(np.float32))
    np.testing.assert_array_equal(coverage, alpha)
    assert attributes["glimsum:recipeFingerprint"] == "ab" * 32


@pytest.mark.parametrize("compression", ["none", "zips", "zip"])
def test_a_data_window_lies_in_its_display_window(tmp_path: Path, compression: Compression) -> None:
    rgb = picture(50, 40)
    window = Window(3, 18, 38, 47)
    write_master(
        tmp_path, "a.exr", rgb, None, TOLD, compression=compression, window=window, token="t"
    )

    header, planes = read_exr(tmp_path / "a.exr")
    stored = np.stack([planes[each] for each in "RGB"], axis=2)
    assert [each.tolist() for each in header["dataWindow"]] == [[3, 18], [37, 46]]
    assert [each.tolist() for each in header["displayWindow"]] == [[0, 0], [39, 49]]
    np.testing.assert_array_equal(stored, rgb[18:47, 3:38].astype(np.float16))
    whole, _, _ = read_master(tmp_path / "a.exr")
    assert whole.shape == rgb.shape
    assert not whole[:18].any()
    np.testing.assert_array_equal(whole[18:47, 3:38], stored)


def test_the_same_samples_elsewhere_are_another_picture(tmp_path: Path) -> None:
    rgb = np.zeros((20, 20, 3), np.float32)
    one, other = (
        write_master(tmp_path, "a.exr", rgb, None, TOLD, window=window, token="t").pixel_digest
        for window in (Window(0, 0, 10, 10), Window(1, 0, 11, 10))
    )
    assert one != other
