"""A file taken over: blocks shared where the disk can, else copied; its digest held either way."""

import errno
import fcntl
import hashlib
import os
import re
from pathlib import Path
from typing import Any

import pytest

from glimsum_jobs.errors import OutputError, SourceError
from glimsum_workers.frames.taking_over import FICLONE, take_over
from glimsum_workers.frames.whole import nothing_to_ask

DATA = bytes(range(256)) * 12_345  # some pieces and a rest
DIGEST = hashlib.sha256(DATA).hexdigest()


def bring(folder: Path, digest: str = DIGEST) -> Path:
    folder.mkdir(exist_ok=True)
    source = os.open(folder.parent / "old.exr", os.O_RDONLY)
    try:
        take_over(source, folder, "new.exr", digest=digest, told="out:v001/old.exr", token="7",
                  before_rename=nothing_to_ask)  # fmt: skip
    finally:
        os.close(source)
    return folder / "new.exr"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "old.exr").write_bytes(DATA)
    return tmp_path / "v002"


def test_the_number_of_the_request_is_that_of_the_system() -> None:
    header = Path("/usr/include/linux/fs.h")
    if not header.exists():
        pytest.skip("no headers of the system here")
    found = re.search(r"#define FICLONE\s+_IOW\((0x[0-9a-f]+), (\d+), int\)", header.read_text())
    assert found is not None
    # asm-generic/ioctl.h: direction 1 (write) << 30, size << 16, type << 8, number.
    assert (1 << 30) | (4 << 16) | (int(found[1], 16) << 8) | int(found[2]) == FICLONE


def test_a_file_is_taken_over_as_one_of_its_own(folder: Path) -> None:
    new = bring(folder)

    assert new.read_bytes() == DATA
    assert new.stat().st_nlink == 1
    new.write_bytes(b"changed")
    assert (folder.parent / "old.exr").read_bytes() == DATA


@pytest.mark.parametrize("shared", [True, False], ids=["shared", "copied"])
def test_other_bytes_are_refused_and_nothing_is_left(
    folder: Path, monkeypatch: pytest.MonkeyPatch, *, shared: bool
) -> None:
    def clone(new: int, request: int, source: int) -> int:
        assert request == FICLONE
        if not shared:
            raise OSError(errno.EOPNOTSUPP, "not here")
        os.write(new, os.pread(source, len(DATA), 0))  # what the file system would do
        return 0

    monkeypatch.setattr(fcntl, "ioctl", clone)
    assert bring(folder).read_bytes() == DATA
    (folder / "new.exr").unlink()

    with pytest.raises(SourceError, match=f"(?s)old.exr.*SHA-256 {DIGEST}.*SHA-256 {'0' * 64}"):
        bring(folder, "0" * 64)
    assert list(folder.iterdir()) == []


def test_a_full_disk_is_told_and_not_taken_for_a_disk_that_shares_nothing(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: Any) -> int:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(fcntl, "ioctl", full)
    with pytest.raises(OutputError, match=r"new\.exr.*No space left"):
        bring(folder)
    assert list(folder.iterdir()) == []


def test_an_old_file_that_can_not_be_read_is_no_fault_of_the_new_disk(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: Any) -> bytes:
        raise OSError(errno.EIO, "Input/output error")

    monkeypatch.setattr(os, "pread", broken)
    with pytest.raises(SourceError, match=r"out:v001/old\.exr.*Input/output error"):
        bring(folder)
    assert list(folder.iterdir()) == []
