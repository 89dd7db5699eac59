import hashlib
import os
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from glimsum_jobs.errors import PathError, SourceError
from glimsum_jobs.paths import RootPath
from glimsum_workers.engine.codes import RgbCodes, VideoPlanes
from glimsum_workers.frames.roots import Roots
from glimsum_workers.frames.sources import open_source
from unit.workers.frames.clip_making import write_clip


@pytest.fixture
def roots(tmp_path: Path) -> Roots:
    for number in (3, 4, 6):
        Image.new("RGB", (8, 6), (number, 20, 30)).save(tmp_path / f"a.{number:04}.png")
    return Roots({"cards": tmp_path})


def test_a_sequence_answers_by_file_number(roots: Roots, tmp_path: Path) -> None:
    with open_source(roots, RootPath("cards", "a.%04d.png")) as source:
        codes = source.read(4)

        assert source.numbers == (3, 4, 6)
        assert isinstance(codes, RgbCodes)
        assert codes.values[0, 0].tolist() == [4, 20, 30]
        assert source.file_name(4) == "cards:a.0004.png"
        assert (source.facts.width, source.facts.kind) == (8, "png")
        data = (tmp_path / "a.0004.png").read_bytes()
        assert source.fingerprint(4) == hashlib.sha256(data).hexdigest()


def test_a_missing_number_is_named_by_its_file(roots: Roots) -> None:
    with (
        open_source(roots, RootPath("cards", "a.%04d.png")) as source,
        pytest.raises(SourceError, match=r"no such file.*cards:a\.0005\.png"),
    ):
        source.read(5)


def test_a_still_is_held_over_every_number(roots: Roots) -> None:
    with open_source(roots, RootPath("cards", "a.0003.png")) as source:
        assert source.numbers is None
        assert source.read(1001) is source.read(1112)
        assert source.fingerprint(1) == source.fingerprint(2)
        assert source.file_name(1001) == "cards:a.0003.png"
        assert source.facts.height == 6


def test_a_clip_answers_from_frame_0(roots: Roots, tmp_path: Path) -> None:
    write_clip(tmp_path / "a.mp4", 5)

    with open_source(roots, RootPath("cards", "a.mp4")) as source:
        codes = source.read(2)

        assert source.numbers == (0, 1, 2, 3, 4)
        assert isinstance(codes, VideoPlanes)
        assert abs(int(np.median(codes.luma[:, :40])) - 42) <= 1
        assert source.fingerprint(1) != source.fingerprint(2)
        assert source.file_name(2) == "cards:a.mp4 frame 2"


def test_a_changed_file_has_another_fingerprint_and_the_same_one_is_read_once(
    roots: Roots, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    reads = []
    pread = os.pread

    def counted(descriptor: int, size: int, at: int) -> bytes:
        reads.append(at)
        return pread(descriptor, size, at)

    monkeypatch.setattr(os, "pread", counted)
    source = open_source(roots, RootPath("cards", "a.%04d.png"))

    before = source.fingerprint(3)
    seen = len(reads)
    assert source.fingerprint(3) == before
    assert len(reads) == seen
    Image.new("RGB", (8, 6), (9, 9, 9)).save(tmp_path / "a.0003.png")

    assert source.fingerprint(3) != before


def test_a_numbered_clip_is_refused(roots: Roots) -> None:
    with pytest.raises(SourceError, match=r"can't be one file of a sequence.*a\.%04d\.mov"):
        open_source(roots, RootPath("cards", "a.%04d.mov"))


def test_a_missing_still_or_clip_is_refused_when_opened(roots: Roots) -> None:
    for name in ("gone.png", "gone.mov"):
        with pytest.raises(SourceError, match=rf"no such file.*cards:{name}"):
            open_source(roots, RootPath("cards", name))


def test_a_sequence_can_not_leave_its_root_by_a_link(roots: Roots, tmp_path: Path) -> None:
    outside = tmp_path.parent / f"{tmp_path.name}_outside.png"
    Image.new("RGB", (8, 6)).save(outside)
    (tmp_path / "a.0007.png").symlink_to(outside)

    with (
        open_source(roots, RootPath("cards", "a.%04d.png")) as source,
        pytest.raises(PathError, match=r"leads out of its root.*a\.0007\.png"),
    ):
        source.read(7)
