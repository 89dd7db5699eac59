"""Masters of every shape of block, read back bit by bit by two libraries.

Readers: the OpenEXR project's own library and OpenImageIO. Format: OpenEXR File Layout (blocks of
16 lines, the last one shorter; a block that deflate does not shrink is stored as it is).
"""

from fractions import Fraction
from pathlib import Path

import numpy as np
import OpenEXR
import OpenImageIO
import pytest
from numpy.typing import NDArray

from glimsum_workers.frames.masters import MasterAttributes, write_master

ATTRIBUTES = MasterAttributes((0.713, 0.293, 0.165, 0.83, 0.128, 0.044, 0.32168, 0.33767),
                              "lin_ap1_scene", Fraction(24), 1001)  # fmt: skip
RANDOM = np.random.default_rng(20261125)
SIZES = [
    (1, 1), (1, 700), (16, 1), (15, 33), (16, 341), (17, 342), (31, 1365), (33, 683), (100, 1366),
    (270, 480), (271, 1921), *RANDOM.integers(1, 700, (12, 2)).tolist(),
]  # fmt: skip


def bits_of_noise(height: int, width: int) -> NDArray[np.float32]:
    """Return halves of random bits, finite: deflate makes none of their blocks smaller."""
    bits = RANDOM.integers(0, 1 << 16, (height, width, 3), np.uint16)
    halves = bits.view(np.float16)
    return np.where(np.isfinite(halves), halves, 0).astype(np.float32)


def smooth_light(height: int, width: int) -> NDArray[np.float32]:
    """Return a gradient with grain, half of whose blocks are black."""
    y, x = np.mgrid[:height, :width]
    rgb = (x / max(width, 1) + 0.01 * RANDOM.standard_normal((3, height, width))).astype(np.float32)
    rgb[:, (y // 16) % 2 == 1] = 0
    return np.ascontiguousarray(np.moveaxis(rgb, 0, 2))


@pytest.mark.parametrize("compression", ["zip", "zips"])
@pytest.mark.parametrize("size", SIZES, ids=str)
@pytest.mark.parametrize("made", [bits_of_noise, smooth_light], ids=["noise", "smooth"])
def test_every_block_is_read_bit_by_bit(tmp_path, size, made, compression) -> None:  # type: ignore[no-untyped-def]  # parametrized
    height, width = size
    rgb = made(height, width)

    write_master(tmp_path, "a.exr", rgb, None, ATTRIBUTES, compression=compression, token="t")

    expected = rgb.astype(np.float16).view(np.uint16)
    with OpenEXR.File(str(tmp_path / "a.exr")) as file:
        read = file.channels()["RGB"].pixels
    np.testing.assert_array_equal(read.view(np.uint16), expected)
    other = OpenImageIO.ImageInput.open(str(tmp_path / "a.exr"))
    assert other is not None
    pixels = other.read_image(0, 0, 0, 3, "half")
    other.close()
    np.testing.assert_array_equal(np.asarray(pixels).view(np.uint16), expected)


def test_float_blocks_are_read_bit_by_bit(tmp_path: Path) -> None:
    rgb = RANDOM.standard_normal((35, 1403, 3), np.float32)

    write_master(tmp_path, "a.exr", rgb, None, ATTRIBUTES, pixel="float", token="t")

    with OpenEXR.File(str(tmp_path / "a.exr")) as file:
        np.testing.assert_array_equal(file.channels()["RGB"].pixels, rgb)
