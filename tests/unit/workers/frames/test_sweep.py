"""Unfinished files: those of the dead go, those of the living stay."""

import os
import time
from pathlib import Path

import pytest

from glimsum_jobs.errors import OutputError
from glimsum_workers.frames.whole import placing, sweep_parts, temp_name

LEASE_S, LONGEST_S = 20.0, 1800.0


def leave(folder: Path, name: str, token: str, age_s: float) -> Path:
    file = folder / temp_name(name, token)
    file.write_bytes(b"half a picture")
    made = time.time() - age_s
    os.utime(file, (made, made))
    return file


def sweep(folder: Path, *live: str) -> int:
    return sweep_parts(folder, live=live, token_s=LEASE_S, other_s=LONGEST_S)


def test_files_of_dead_tokens_go_once_older_than_a_lease(tmp_path: Path) -> None:
    (tmp_path / "master").mkdir()
    old = leave(tmp_path / "master", "a.1001.exr", "7", 21)
    young = leave(tmp_path / "master", "a.1002.exr", "8", 19)

    assert sweep(tmp_path) == 1
    assert (old.exists(), young.exists()) == (False, True)


def test_the_file_of_a_live_claim_stays_however_old(tmp_path: Path) -> None:
    mine = leave(tmp_path, "a.1001.exr", "7", 10_000)

    assert sweep(tmp_path, "7") == 0
    assert mine.exists()


def test_a_token_nobody_can_ask_about_stays_as_long_as_a_writer_may_live(tmp_path: Path) -> None:
    measured = leave(tmp_path, "ab12.npz", "deadbeefdeadbeef", 1700)
    older = leave(tmp_path, "ab13.npz", "deadbeefdeadbeef", 1900)

    assert sweep(tmp_path) == 1
    assert (measured.exists(), older.exists()) == (True, False)


def test_nothing_but_unfinished_files_goes(tmp_path: Path) -> None:
    names = ["a.1001.exr", ".hidden", "notes.part", ".a.1001.exr.7.partly", "wishes.json"]
    deep = tmp_path / "mine" / "deeper"
    deep.mkdir(parents=True)
    for name in names:
        (tmp_path / name).write_text("mine")
        os.utime(tmp_path / name, (0, 0))
    below = leave(deep, "a.1001.exr", "7", 10_000)

    assert sweep(tmp_path) == 0
    assert sorted(each.name for each in tmp_path.iterdir()) == sorted([*names, "mine"])
    assert below.exists()


def test_a_link_in_the_place_of_a_folder_is_not_followed(tmp_path: Path) -> None:
    outside, version = tmp_path / "outside", tmp_path / "v001"
    outside.mkdir()
    version.mkdir()
    theirs = leave(outside, "a.1001.exr", "7", 10_000)
    (version / "master").symlink_to(outside)

    assert sweep(version) == 0
    assert theirs.exists()


def test_a_writer_whose_file_was_swept_leaves_nothing_and_says_so(tmp_path: Path) -> None:
    with (  # noqa: PT012  # the sweep happens in mid-writing
        pytest.raises(OutputError, match=r"can't be written whole.*a\.1001\.exr"),
        placing(tmp_path, "a.1001.exr", "7") as temp,
    ):
        temp.write_bytes(b"whole picture")
        os.utime(temp, (0, 0))
        assert sweep(tmp_path) == 1

    assert list(tmp_path.iterdir()) == []
