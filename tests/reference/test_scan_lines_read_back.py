"""ZIP files of half-float colour, read block by block, bit for bit what was written.

Writers: the OpenEXR project's own library, OpenImageIO, and ours (whose files the first one reads
in `test_master_blocks`). Reader to compare with: the OpenEXR project's own library.
"""

import struct
from pathlib import Path
from typing import Any

import numpy as np
import OpenEXR
import OpenImageIO
import pytest
from numpy.typing import NDArray

from glimsum_workers.frames.exr_bytes import lay_out
from support.half_planes import KINDS, Planes, bits_of, gradient, named, read_by_ours

RANDOM = np.random.default_rng(20261126)
SIZES = [
    (256, 256), (257, 263), (161, 419), (16, 4096), (17, 4099), (4097, 17), (65537, 1), (1, 65536),
]  # fmt: skip
ZIP: dict[str, Any] = {
    "compression": OpenEXR.ZIP_COMPRESSION,
    "type": OpenEXR.scanlineimage,
}
SIZE = (257, 263)


def write_by_library(file: Path, planes: dict[str, Any], header: dict[str, Any]) -> None:
    # The library changes what it is given.
    OpenEXR.File(dict(header), dict(planes)).write(str(file))


def write_by_general(file: Path, planes: Planes, corner: tuple[int, int]) -> None:
    height, width = planes["R"].shape
    spec = OpenImageIO.ImageSpec(width, height, 3, "half")
    spec.x, spec.y = corner
    spec.full_width, spec.full_height = width, height
    spec.attribute("compression", "zip")
    made = OpenImageIO.ImageOutput.create(str(file))
    assert made is not None
    assert made.open(str(file), spec)
    assert made.write_image(np.stack([planes[name] for name in "RGB"], axis=2))
    made.close()


def write_by_ours(file: Path, planes: Planes, corner: tuple[int, int]) -> None:
    file.write_bytes(lay_out(planes, {}, "zip", corner=corner))


def window_of(size: tuple[int, int], corner: tuple[int, int]) -> dict[str, Any]:
    box = (*corner, corner[0] + size[1] - 1, corner[1] + size[0] - 1)
    shown = (0, 0, size[1] - 1, size[0] - 1)
    return {
        name: (np.array(each[:2], np.int32), np.array(each[2:], np.int32))
        for name, each in (("dataWindow", box), ("displayWindow", shown))
    }


def write(writer: str, file: Path, planes: Planes, corner: tuple[int, int] = (0, 0)) -> None:
    if writer == "library":
        write_by_library(file, planes, ZIP | window_of(planes["R"].shape, corner))
    else:
        (write_by_general if writer == "general" else write_by_ours)(file, planes, corner)


def read_by_library(file: Path) -> NDArray[np.uint16]:
    with OpenEXR.File(str(file), separate_channels=True) as read:
        return bits_of({name: each.pixels for name, each in read.channels().items()})


@pytest.mark.parametrize("writer", ["library", "general", "ours"])
@pytest.mark.parametrize("size", SIZES, ids=str)
@pytest.mark.parametrize("made", KINDS, ids=lambda each: each.__name__)
def test_every_bit_is_read(tmp_path, made, size, writer) -> None:  # type: ignore[no-untyped-def]  # parametrized
    planes, file = made(size, RANDOM), tmp_path / "a.exr"

    write(writer, file, planes)

    np.testing.assert_array_equal(read_by_ours(file, size), bits_of(planes))
    np.testing.assert_array_equal(read_by_library(file), bits_of(planes))


@pytest.mark.parametrize("writer", ["library", "general", "ours"])
@pytest.mark.parametrize("corner", [(-7, 11), (40, -300), (1, 1)], ids=str)
def test_a_window_may_lie_anywhere(tmp_path: Path, writer: str, corner: tuple[int, int]) -> None:
    planes, file = KINDS[3](SIZE, RANDOM), tmp_path / "a.exr"

    write(writer, file, planes, corner)

    np.testing.assert_array_equal(read_by_ours(file, SIZE), bits_of(planes))


def test_lines_may_be_written_upwards(tmp_path: Path) -> None:
    planes, file = KINDS[3](SIZE, RANDOM), tmp_path / "a.exr"

    write_by_library(file, planes, ZIP | {"lineOrder": OpenEXR.DECREASING_Y})

    np.testing.assert_array_equal(read_by_ours(file, SIZE), bits_of(planes))


def test_small_pictures_are_left_to_the_library(tmp_path: Path) -> None:
    planes = gradient((255, 257), RANDOM)

    write_by_library(tmp_path / "a.exr", planes, ZIP)

    assert read_by_ours(tmp_path / "a.exr", (255, 257)) is None


def test_a_picture_of_another_size_than_told_is_left_to_the_library(tmp_path: Path) -> None:
    write_by_library(tmp_path / "a.exr", gradient(SIZE, RANDOM), ZIP)

    for size in ((256, 263), (257, 262), (273, 263), (263, 257)):
        assert read_by_ours(tmp_path / "a.exr", size) is None


@pytest.mark.parametrize(
    "name",
    ["NO", "RLE", "ZIPS", "PIZ", "PXR24", "B44", "B44A", "DWAA", "DWAB"],
)
def test_other_compressions_are_left_to_the_library(tmp_path: Path, name: str) -> None:
    header = {**ZIP, "compression": getattr(OpenEXR, f"{name}_COMPRESSION")}

    write_by_library(tmp_path / "a.exr", gradient(SIZE, RANDOM), header)

    assert read_by_ours(tmp_path / "a.exr", SIZE) is None


def other_channels() -> dict[str, dict[str, NDArray[Any]]]:
    planes = gradient(SIZE, RANDOM)
    blue, green, red = planes.values()
    return {
        "coverage": {**planes, "A": red},
        "floats": {name: each.astype(np.float32) for name, each in planes.items()},
        "one float": {**planes, "G": green.astype(np.float32)},
        "whole numbers": {name: each.astype(np.uint32) for name, each in planes.items()},
        "a layer": {f"key.{name}": each for name, each in planes.items()},
        "grey": {"Y": green},
        "two": {"B": blue, "R": red},
        "small letters": {name.lower(): each for name, each in planes.items()},
        "depth": {**planes, "Z": red.astype(np.float32)},
    }


@pytest.mark.parametrize("name", other_channels())
def test_other_channels_are_left_to_the_library(tmp_path: Path, name: str) -> None:
    write_by_library(tmp_path / "a.exr", other_channels()[name], ZIP)

    assert read_by_ours(tmp_path / "a.exr", SIZE) is None


def test_tiles_and_parts_are_left_to_the_library(tmp_path: Path) -> None:
    planes, tiles = gradient(SIZE, RANDOM), OpenEXR.TileDescription()
    tiles.xSize = tiles.ySize = 32
    write_by_library(
        tmp_path / "a.exr", planes, {**ZIP, "type": OpenEXR.tiledimage, "tiles": tiles}
    )
    parts = [OpenEXR.Part(dict(ZIP), dict(planes), name) for name in ("key", "fill")]
    OpenEXR.File(parts).write(str(tmp_path / "b.exr"))

    assert read_by_ours(tmp_path / "a.exr", SIZE) is None
    assert read_by_ours(tmp_path / "b.exr", SIZE) is None


@pytest.mark.parametrize("at", [10, 14], ids=["x", "y"])
def test_channels_with_samples_left_out_are_left_to_the_library(tmp_path: Path, at: int) -> None:
    """The library writes none from Python; place by OpenEXR File Layout, channel list."""
    file, one = tmp_path / "a.exr", struct.pack("<i", 1)
    write_by_library(file, named(np.zeros((3, *SIZE), np.float16)), ZIP)
    given = bytearray(file.read_bytes())
    channel = given.index(b"B\0" + one)
    assert given[channel + at : channel + at + 4] == one

    given[channel + at] = 2
    file.write_bytes(given)

    assert read_by_ours(file, SIZE) is None
