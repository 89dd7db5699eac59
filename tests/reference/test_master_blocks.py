"""Masters of every shape of block, read back bit by bit by two libraries and by zlib.

Readers: the OpenEXR project's own library and OpenImageIO; the blocks also by the zlib of Python's
standard library. Format: OpenEXR File Layout (blocks of 16 lines, the last one shorter; a block
that deflate does not shrink is stored as it is), RFC 1950 and 1951.
"""

import zlib
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import numpy as np
import OpenEXR
import OpenImageIO
import pytest
from numpy.typing import NDArray

from glimsum_workers.frames.masters import MasterAttributes, write_master
from support.exr_damage import BLOCK_LINES, HEAD_BYTES, Laid

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


def even_light(height: int, width: int) -> NDArray[np.float32]:
    """Return steps without grain: few values in low bytes and high ones."""
    y, x = np.mgrid[:height, :width]
    steps = (x // 40 + y // 8) % 24 / 16
    return np.repeat(steps[..., None].astype(np.float32), 3, axis=2)


def grainy_light(height: int, width: int) -> NDArray[np.float32]:
    """Return a gradient with grain: noise in the low bytes, smooth high ones."""
    x = np.arange(width)
    noise = 1 + 0.05 * RANDOM.standard_normal((3, height, width))
    return np.ascontiguousarray(np.moveaxis((0.1 + x / width) * noise, 0, 2), np.float32)


def blocks_of(laid: Laid) -> Iterator[bytes]:
    for index, place in enumerate(laid.places):
        first = place + HEAD_BYTES
        yield laid.whole[first : first + laid.length_of(index)]


def lines_of(inflated: bytes, width: int) -> NDArray[np.uint16]:
    """Return blue, green and red of a block's lines: (lines, 3, width)."""
    differences = np.frombuffer(inflated, np.uint8).astype(np.int64)
    differences[1:] -= 128
    low, high = np.split(np.cumsum(differences).astype(np.uint8), 2)
    return (low + 256 * high.astype(np.uint16)).reshape(-1, 3, width)


@pytest.mark.parametrize("size", [(16, 342), (33, 342), (100, 1366), (47, 1921)], ids=str)
@pytest.mark.parametrize(
    ("made", "stored"), [(grainy_light, True), (even_light, False)], ids=["grain", "even"]
)
def test_every_block_is_inflated_by_zlib(tmp_path, size, made, stored) -> None:  # type: ignore[no-untyped-def]  # parametrized
    """Both ways of deflating: low bytes stored, since they are noise, and nothing stored."""
    rgb = made(*size)

    write_master(tmp_path, "a.exr", rgb, None, ATTRIBUTES, compression="zip", token="t")

    expected = rgb.astype(np.float16).view(np.uint16)
    laid = Laid((tmp_path / "a.exr").read_bytes(), size)
    for index, block in enumerate(blocks_of(laid)):
        lines = expected[index * BLOCK_LINES : (index + 1) * BLOCK_LINES]
        read = lines_of(zlib.decompress(block), size[1])
        np.testing.assert_array_equal(read, lines[..., ::-1].transpose(0, 2, 1))
        if len(lines) == BLOCK_LINES:
            assert (block[2] & 0b110 == 0) == stored
