"""The passes of a whole shot through the one door, against other readers of the same files."""

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
import tifffile
from numpy.typing import NDArray
from PIL import Image

from glimsum_jobs.paths import RootPath
from glimsum_workers.engine.codes import RgbCodes, VideoPlanes
from glimsum_workers.frames.roots import Roots
from glimsum_workers.frames.sources import open_source
from support.harbour import require_full_harbour, shipped_harbour

STILLS = {"practicals": 8, "flash": 8, "haze": 8, "matte": 8, "black": 8, "beauty": 16}


def other_reader(path: Path) -> NDArray[np.int64]:
    """Read by Pillow, or tifffile where the codes have 16 bits."""
    if path.suffix == ".tif":
        return np.asarray(tifffile.imread(path), np.int64)
    with Image.open(path) as picture:
        return np.asarray(picture.convert("RGB"), np.int64)


@pytest.mark.parametrize(("name", "bits"), STILLS.items())
def test_every_pass_of_the_demo_reads_as_other_readers_read_it(name: str, bits: int) -> None:
    shot = shipped_harbour()
    path = RootPath("passes", str(shot.pass_facts(name)["encoding"]["files"]))

    with open_source(Roots({"passes": shot.passes}), path) as source:
        number = shot.file_number(name, 5)
        codes = source.read(number)

    assert source.numbers is not None
    assert number in source.numbers
    assert (source.facts.width, source.facts.height) == (960, 540)
    assert isinstance(codes, RgbCodes)
    assert (codes.bits, codes.alpha) == (bits, None)
    error = np.abs(codes.values.astype(np.int64) - other_reader(shot.file(name, 5)))
    # JPEG decoders may round one code apart; the others are exact.
    assert int(error.max()) <= (1 if path.name.endswith("jpg") else 0)


def test_the_clip_of_the_demo_gives_its_frames_in_any_order() -> None:
    shot = shipped_harbour()

    with open_source(Roots({"passes": shot.passes}), RootPath("passes", "reference.mp4")) as source:
        forward = [source.read(n) for n in range(10)]
        backward = [source.read(n) for n in reversed(range(10))]

    assert source.facts.clip is not None
    assert (source.facts.clip.count, source.facts.clip.rate) == (10, Fraction(24))
    assert (source.facts.clip.range, source.facts.clip.matrix) == ("limited", "bt709")
    for first, second in zip(forward, reversed(backward), strict=True):
        assert isinstance(first, VideoPlanes)
        assert isinstance(second, VideoPlanes)
        assert first.cb.shape == (270, 480)
        np.testing.assert_array_equal(first.luma, second.luma)
        np.testing.assert_array_equal(first.cr, second.cr)


def test_ten_bit_dpx_of_the_locked_shot_gives_the_codes_of_its_words() -> None:
    # SMPTE ST 268-1: 10 bits filled, method A: R, G, B from the top of each 32-bit word.
    path = require_full_harbour() / "locked" / "beauty" / "beauty.0001.dpx"
    data = path.read_bytes()
    order = ">" if data[:4] == b"SDPX" else "<"
    offset = int(np.frombuffer(data, f"{order}u4", 1, 4)[0])
    words = np.frombuffer(data, f"{order}u4", 960 * 540, offset).reshape(540, 960)

    with open_source(Roots({"cards": path.parent}), RootPath("cards", "beauty.%04d.dpx")) as source:
        codes = source.read(1)

    assert isinstance(codes, RgbCodes)
    assert codes.bits == 10
    for index, shift in enumerate((22, 12, 2)):
        np.testing.assert_array_equal(codes.values[..., index], words >> shift & 1023)
