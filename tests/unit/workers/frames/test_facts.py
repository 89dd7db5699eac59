from fractions import Fraction
from pathlib import Path

import numpy as np
import OpenEXR
import pytest
from PIL import Image
from PIL.TiffImagePlugin import IFDRational

from glimsum_jobs.errors import SourceError
from glimsum_jobs.paths import RootPath
from glimsum_workers.frames.facts import Exposure, read_facts
from glimsum_workers.frames.roots import Roots
from unit.workers.frames.clip_making import write_clip


def test_exif_tells_capture_and_exposure(tmp_path: Path) -> None:
    # EXIF 2.3 tags: 33434 ExposureTime, 33437 FNumber, 34855 sensitivity, 36867 DateTimeOriginal.
    picture = Image.new("RGB", (40, 30), (90, 80, 70))
    exif = Image.Exif()
    exif[271], exif[272], exif[306] = "Maker", "Model 1", "2026:11:03 09:00:00"
    exif[274] = 6
    exif.get_ifd(0x8769).update(
        {33434: IFDRational(16), 33437: IFDRational(16), 34855: 100, 36867: "2026:11:02 21:14:05"}
    )
    picture.save(tmp_path / "a.jpg", exif=exif)

    facts = read_facts(Roots({"cards": tmp_path}), RootPath("cards", "a.jpg"))

    assert facts.exposure == Exposure(seconds=16, f_number=16, iso=100)
    assert facts.captured == "2026:11:02 21:14:05"
    assert (facts.kind, facts.width, facts.height, facts.bits) == ("jpeg", 40, 30, 8)
    assert facts.camera == "Maker Model 1"
    assert facts.remarks == ("an orientation tag is not followed",)


def test_exr_attributes_tell_capture_and_exposure(tmp_path: Path) -> None:
    header = {
        "compression": OpenEXR.DWAA_COMPRESSION,
        "expTime": 4.0,
        "aperture": 16.0,
        "isoSpeed": 100.0,
        "capDate": "2026:11:02 21:14:05",
        "displayWindow": (np.array([0, 0], np.int32), np.array([9, 7], np.int32)),
        "dataWindow": (np.array([1, 2], np.int32), np.array([6, 5], np.int32)),
    }
    planes = {name: np.zeros((4, 6), np.float16) for name in ("R", "G", "B", "Z")}
    with OpenEXR.File(header, planes) as file:
        file.write(str(tmp_path / "a.exr"))

    facts = read_facts(Roots({"cards": tmp_path}), RootPath("cards", "a.exr"))

    assert facts.exposure == Exposure(seconds=4, f_number=16, iso=100)
    assert facts.captured == "2026:11:02 21:14:05"
    assert (facts.width, facts.height, facts.data_window) == (10, 8, (1, 2, 6, 4))
    assert (facts.bits, facts.floating, facts.compression) == (16, True, "dwaa")
    assert facts.remarks == (
        "channels left out: Z",
        "data window (1, 2, 6, 4) differs from the display window; outside is 0",
        "compression dwaa loses detail",
    )


def test_a_clip_tells_its_own_facts(tmp_path: Path) -> None:
    write_clip(tmp_path / "a.mp4", 7, rate=Fraction(25), tags=(1, 1))

    facts = read_facts(Roots({"cards": tmp_path}), RootPath("cards", "a.mp4"))

    assert facts.clip is not None
    assert (facts.kind, facts.clip.count, facts.clip.rate) == ("clip", 7, Fraction(25))
    assert facts.colour == "bt709, limited"


def test_no_pixel_is_decoded_for_facts(tmp_path: Path) -> None:
    # A picture without its lower half still tells its size.
    Image.effect_noise((200, 100), 60).convert("RGB").save(tmp_path / "a.jpg", quality=95)
    data = (tmp_path / "a.jpg").read_bytes()
    (tmp_path / "a.jpg").write_bytes(data[: len(data) // 2])

    facts = read_facts(Roots({"cards": tmp_path}), RootPath("cards", "a.jpg"))

    assert (facts.width, facts.height) == (200, 100)


def test_an_empty_file_has_no_facts(tmp_path: Path) -> None:
    (tmp_path / "a.dpx").write_bytes(b"")

    with pytest.raises(SourceError, match=r"cards:a\.dpx.*seen: 0 bytes; expected: a dpx file"):
        read_facts(Roots({"cards": tmp_path}), RootPath("cards", "a.dpx"))
