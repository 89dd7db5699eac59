import errno
import os
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from glimsum_jobs.errors import LeaseLost, OutputError, SourceError
from glimsum_workers.frames.master_reading import read_master
from glimsum_workers.frames.masters import MasterAttributes, Written, write_master
from glimsum_workers.frames.whole import placing

RGB = np.full((6, 8, 3), 0.18, np.float32)
TOLD = MasterAttributes(
    (0.64, 0.33, 0.3, 0.6, 0.15, 0.06, 0.3127, 0.329), "lin_rec709_scene", Fraction(24), 1
)


def write(folder: Path, **options: object) -> Written:
    return write_master(folder, "a.exr", RGB, None, TOLD, token="7", **options)  # type: ignore[arg-type]  # options pass through


def left(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_a_lost_lease_leaves_nothing_behind(tmp_path: Path) -> None:
    def refuse() -> None:
        assert left(tmp_path) == [".a.exr.7.part"]
        raise LeaseLost("another worker has the frame")

    with pytest.raises(LeaseLost):
        write(tmp_path, before_rename=refuse)

    assert left(tmp_path) == []


def test_the_lease_is_asked_for_once_when_all_is_on_the_disk(tmp_path: Path) -> None:
    sizes = []

    written = write(
        tmp_path, before_rename=lambda: sizes.append((tmp_path / ".a.exr.7.part").stat().st_size)
    )

    assert sizes == [written.size]
    assert left(tmp_path) == ["a.exr"]


def test_a_full_disk_is_told_and_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(path: Path, data: bytes) -> int:
        with path.open("wb") as file:
            file.write(data[:100])
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(Path, "write_bytes", full)

    with pytest.raises(
        OutputError, match=r"can't be written whole.*a\.exr.*No space left.*Make room"
    ):
        write(tmp_path)
    assert left(tmp_path) == []


def test_a_really_full_disk_is_told(tmp_path: Path) -> None:
    # /dev/full: every write fails as on a full disk (Linux, full(4)).
    if not Path("/dev/full").exists():
        pytest.skip("no /dev/full here")
    (tmp_path / ".a.exr.7.part").symlink_to("/dev/full")

    with pytest.raises(OutputError, match=r"a\.exr.*No space left on device"):
        write(tmp_path)
    assert left(tmp_path) == []


def test_a_short_write_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def short(path: Path, data: bytes) -> int:
        with path.open("wb") as file:
            return file.write(data[:100])

    monkeypatch.setattr(Path, "write_bytes", short)

    with pytest.raises(
        OutputError, match=r"fewer bytes.*a\.exr.*seen: 100 bytes; expected: \d+ bytes"
    ):
        write(tmp_path)
    assert left(tmp_path) == []


def test_a_missing_folder_is_told(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match=r"gone/a\.exr.*No such file"):
        write(tmp_path / "gone")


def test_a_rename_whose_answer_was_lost_counts_as_done(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    replace = Path.replace

    def lose_answer(path: Path, target: Path) -> Path:
        replace(path, target)
        raise OSError(errno.EIO, os.strerror(errno.EIO))

    monkeypatch.setattr(Path, "replace", lose_answer)

    written = write(tmp_path)

    assert (tmp_path / "a.exr").stat().st_size == written.size


def test_a_rename_that_failed_keeps_the_old_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "a.exr").write_bytes(b"old")

    def fail(path: Path, target: Path) -> Path:
        raise OSError(errno.EIO, os.strerror(errno.EIO), str(path), None, str(target))

    monkeypatch.setattr(Path, "replace", fail)

    with pytest.raises(OutputError, match=r"a\.exr.*Input/output error"):
        write(tmp_path)
    assert (tmp_path / "a.exr").read_bytes() == b"old"
    assert left(tmp_path) == ["a.exr"]


def test_an_error_inside_the_block_leaves_the_old_file(tmp_path: Path) -> None:
    (tmp_path / "a.mp4").write_bytes(b"old")

    def stop() -> None:
        with placing(tmp_path, "a.mp4", "7") as temp:
            temp.write_bytes(b"new")
            raise RuntimeError("stopped")

    with pytest.raises(RuntimeError, match=r"stopped"):
        stop()

    assert (tmp_path / "a.mp4").read_bytes() == b"old"
    assert left(tmp_path) == ["a.mp4"]


def test_a_wrong_shape_is_refused_with_both_shapes(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match=r"a\.exr.*\(6, 8, 3\), coverage \(6, 7\)"):
        write_master(tmp_path, "a.exr", RGB, np.ones((6, 7), np.float32), TOLD, token="7")


def test_a_master_that_is_gone_or_cut_off_is_told(tmp_path: Path) -> None:
    write(tmp_path)
    whole = (tmp_path / "a.exr").read_bytes()
    (tmp_path / "cut.exr").write_bytes(whole[:-9])

    with pytest.raises(SourceError, match=r"gone\.exr.*No such file"):
        read_master(tmp_path / "gone.exr")
    with pytest.raises(SourceError, match=rf"cut\.exr.*seen: {len(whole) - 9} bytes"):
        read_master(tmp_path / "cut.exr")
