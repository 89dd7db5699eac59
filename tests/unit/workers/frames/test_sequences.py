from pathlib import Path

import pytest

from glimsum_jobs.errors import SourceError
from glimsum_jobs.paths import RootPath
from glimsum_workers.frames.roots import Roots
from glimsum_workers.frames.sequences import scan


@pytest.fixture
def roots(tmp_path: Path) -> Roots:
    (tmp_path / "haze").mkdir()
    return Roots({"plates": tmp_path})


HAZE = RootPath("plates", "haze/haze.%04d.jpg")


def put(tmp_path: Path, *names: str, size: int = 3) -> None:
    for name in names:
        (tmp_path / "haze" / name).write_bytes(b"x" * size)


def test_gaps_misnamed_and_empty_files_are_found(roots: Roots, tmp_path: Path) -> None:
    put(tmp_path, "haze.0101.jpg", "haze.0102.jpg", "haze.0105.jpg", "haze.10000.jpg")
    put(tmp_path, "haze.00102.jpg", "haze.7.jpg", "notes.txt", "haze.0101.jpg.part")
    put(tmp_path, "haze.0103.jpg", size=0)

    found = scan(roots, HAZE)

    assert found.numbers == (101, 102, 103, 105, 10000)
    assert found.gaps[:2] == (104, 106)
    assert len(found.gaps) == 10000 - 101 + 1 - 5
    assert found.misnamed == ("haze.00102.jpg", "haze.7.jpg")
    assert found.duplicates == (102,)
    assert found.empty == (103,)
    assert (found.files[101].size, found.files[101].name) == (3, "haze.0101.jpg")
    stat = (tmp_path / "haze" / "haze.0101.jpg").stat()
    assert found.files[101].modified_ns == stat.st_mtime_ns


def test_a_stray_number_far_off_makes_no_endless_list(roots: Roots, tmp_path: Path) -> None:
    put(tmp_path, "haze.0001.jpg", "haze.999999999999.jpg")

    assert scan(roots, HAZE).gaps == (2, 3)


def test_no_file_of_the_sequence_is_told_with_what_is_there(roots: Roots, tmp_path: Path) -> None:
    put(tmp_path, "fog.0001.jpg")

    with pytest.raises(
        SourceError, match=r"haze\.%04d\.jpg.*1 other names: fog\.0001\.jpg.*haze\.0001\.jpg"
    ):
        scan(roots, HAZE)


def test_a_missing_folder_is_told(roots: Roots) -> None:
    with pytest.raises(SourceError, match=r"no such file or folder.*plates:rain"):
        scan(roots, RootPath("plates", "rain/rain.%04d.jpg"))
