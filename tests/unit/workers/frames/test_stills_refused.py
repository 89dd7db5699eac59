"""A picture that can't be read whole is refused, with its file, what was seen and expected."""

from pathlib import Path

import numpy as np
import pytest
import tifffile
from PIL import Image

from glimsum_jobs.errors import SourceError
from unit.workers.frames.still_making import ODD, read, whole_files, write_exr


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
