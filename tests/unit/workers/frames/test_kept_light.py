"""Light kept on disk: bit for bit or not at all, within a budget, by several processes at once.

Source: CRC-32 of ISO 3309 as the standard library's zlib computes it (RFC 1952, section 8).
"""

import json
import os
import struct
import time
import zlib
from multiprocessing import get_context
from pathlib import Path

import numpy as np
import pytest

from glimsum_workers.frames.kept_light import LightStore
from support.kept_light_worker import KEYS, light, put_and_get

PLENTY = 1 << 30


def only_file(folder: Path) -> Path:
    (file,) = folder.iterdir()
    return file


def test_what_is_kept_comes_back_bit_for_bit(tmp_path: Path) -> None:
    odd = np.array([[-0.0, 1e-45, np.inf], [np.nan, -1.5, 65504.0]], np.float32)
    arrays: dict[str, np.ndarray] = {
        "rgb": odd[:, ::-1],
        "bits": np.packbits(odd > 0),
        "none": np.empty(0, np.uint8),
    }
    store = LightStore(tmp_path / "light", PLENTY)

    assert store.put(KEYS[0], arrays)

    kept = store.get(KEYS[0])
    assert kept is not None
    assert list(kept) == list(arrays)
    for name, array in arrays.items():
        assert (kept[name].dtype, kept[name].shape) == (array.dtype, array.shape)
        assert kept[name].tobytes() == array.tobytes()


def test_the_check_sums_are_those_of_the_standard(tmp_path: Path) -> None:
    arrays = light(1)
    LightStore(tmp_path, PLENTY).put(KEYS[0], arrays)

    data = only_file(tmp_path).read_bytes()

    length, crc = struct.unpack("<II", data[16:24])
    header = data[24 : 24 + length]
    assert zlib.crc32(header) == crc
    told = {name: crc for name, _, _, crc in json.loads(header)}
    assert told == {name: zlib.crc32(array.tobytes()) for name, array in arrays.items()}


@pytest.mark.parametrize("place", [0, 20, 30, 200, 5000, -1])
def test_one_damaged_byte_is_found_the_file_removed_and_made_again(
    tmp_path: Path, place: int
) -> None:
    store = LightStore(tmp_path, PLENTY)
    store.put(KEYS[0], light(1))
    file = only_file(tmp_path)
    data = bytearray(file.read_bytes())
    data[place] ^= 1
    file.write_bytes(data)

    assert store.get(KEYS[0]) is None
    assert list(tmp_path.iterdir()) == []
    assert store.put(KEYS[0], light(1))
    assert store.get(KEYS[0]) is not None


@pytest.mark.parametrize("left", [0, 10, 24, 60, 8000])
def test_a_file_that_is_cut_off_is_not_used(tmp_path: Path, left: int) -> None:
    store = LightStore(tmp_path, PLENTY)
    store.put(KEYS[0], light(1))
    file = only_file(tmp_path)
    file.write_bytes(file.read_bytes()[:left])

    assert store.get(KEYS[0]) is None
    assert not file.exists()


def test_of_what_was_there_before_the_longest_unused_makes_room(tmp_path: Path) -> None:
    before = LightStore(tmp_path, PLENTY)
    for index in range(3):
        before.put(KEYS[index], light(index))
    size = only_size(tmp_path)
    assert before.get(KEYS[0]) is not None

    store = LightStore(tmp_path, 3 * size)
    assert store.put(KEYS[3], light(3))

    kept = {key for key in KEYS if store.get(key) is not None}
    assert kept == {KEYS[0], KEYS[2], KEYS[3]}


def test_a_shot_larger_than_the_budget_keeps_its_first_frames(tmp_path: Path) -> None:
    LightStore(tmp_path, PLENTY).put(KEYS[0], light(0))
    size = only_size(tmp_path)
    store = LightStore(tmp_path, 2 * size)

    put = [store.put(key, light(1)) for key in KEYS[1:5]]

    assert put == [True, True, False, False]
    assert store.get(KEYS[0]) is None
    assert sum(file.stat().st_size for file in tmp_path.iterdir()) <= 2 * size


def test_nothing_is_kept_where_the_disk_would_have_less_than_its_reserve(tmp_path: Path) -> None:
    store = LightStore(tmp_path / "light", PLENTY, reserve_bytes=1 << 60)

    assert not store.put(KEYS[0], light(1))
    assert list((tmp_path / "light").iterdir()) == []


def test_a_folder_that_can_t_be_written_costs_nothing_but_the_keeping(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    (tmp_path / "light").write_text("a file in the place of the folder")
    store = LightStore(tmp_path / "light", PLENTY)

    assert not store.put(KEYS[0], light(1))
    assert store.get(KEYS[0]) is None
    assert "light can't be kept" in caplog.text


def test_what_a_killed_writer_left_goes_after_an_hour(tmp_path: Path) -> None:
    old, young = (tmp_path / f".{KEYS[n]}.light.{n}.part" for n in (0, 1))
    for file in (old, young):
        file.write_bytes(b"half")
    hours_ago = time.time() - 7200
    os.utime(old, (hours_ago, hours_ago))

    LightStore(tmp_path, PLENTY).put(KEYS[2], light(1))

    assert (old.exists(), young.exists()) == (False, True)


def test_two_processes_at_once_read_whole_light_only(tmp_path: Path) -> None:
    budget = 5 * (20_000 * 12 + 300)
    with get_context("spawn").Pool(2) as pool:
        whole = pool.starmap(put_and_get, [(tmp_path, budget, 1), (tmp_path, budget, 2)])

    assert all(whole)
    assert sum(file.stat().st_size for file in tmp_path.iterdir()) <= budget + 20_000 * 12 + 300


def test_a_key_that_is_no_digest_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match=r"'\.\./light' is no digest of 64 hex digits"):
        LightStore(tmp_path, PLENTY).get("../light")


def only_size(folder: Path) -> int:
    return next(folder.iterdir()).stat().st_size + 50  # check sums have 1 to 10 digits
