from pathlib import Path

import numpy as np
import pytest

from glimsum_jobs.errors import OutputError
from glimsum_workers.frames.kept import Keep

KEY = "0f" * 32


def kept_file(folder: Path) -> Path:
    return next(folder.rglob("*.npz"))


def test_arrays_come_back_as_they_were_kept(tmp_path: Path) -> None:
    keep = Keep(tmp_path / "kept")
    shift = np.array([[1.34, -0.62]])
    codes = np.arange(5, dtype=np.uint16)

    keep.put(KEY, shift=shift, codes=codes, words=np.array("steady"))
    back = Keep(tmp_path / "kept").get(KEY)

    assert back is not None
    np.testing.assert_array_equal(back["shift"], shift)
    np.testing.assert_array_equal(back["codes"], codes)
    assert back["codes"].dtype == np.uint16
    assert str(back["words"]) == "steady"
    assert [path.name for path in (tmp_path / "kept" / "0f").iterdir()] == [f"{KEY}.npz"]


def test_what_was_never_kept_is_a_miss(tmp_path: Path) -> None:
    assert Keep(tmp_path / "kept").get(KEY) is None


@pytest.mark.parametrize("share", [0.0, 0.1, 0.5, 0.9, 0.99])
def test_a_file_cut_off_is_a_miss_and_is_removed(tmp_path: Path, share: float) -> None:
    keep = Keep(tmp_path)
    keep.put(KEY, shift=np.arange(3000.0))
    data = kept_file(tmp_path).read_bytes()
    path = kept_file(tmp_path)
    path.write_bytes(data[: int(len(data) * share)])

    assert keep.get(KEY) is None
    assert not path.exists()


def test_a_flipped_byte_is_a_miss(tmp_path: Path) -> None:
    keep = Keep(tmp_path)
    keep.put(KEY, shift=np.arange(3000.0))
    path = kept_file(tmp_path)
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 0x40
    path.write_bytes(bytes(data))

    assert keep.get(KEY) is None
    assert not path.exists()


def test_pickled_objects_are_neither_kept_nor_loaded(tmp_path: Path) -> None:
    keep = Keep(tmp_path)
    with pytest.raises(OutputError, match=r"only plain numbers.*objects in bad.*numbers or text"):
        keep.put(KEY, bad=np.array([{}]))
    (tmp_path / "0f").mkdir(exist_ok=True)
    with (tmp_path / "0f" / f"{KEY}.npz").open("wb") as file:
        np.savez(file, bad=np.array([{}]))

    assert keep.get(KEY) is None


@pytest.mark.parametrize("key", ["", "../../etc", "0F" * 32, "0f" * 100, "mole_040"])
def test_a_key_that_is_no_digest_is_refused(tmp_path: Path, key: str) -> None:
    with pytest.raises(OutputError, match=r"no digest.*16 to 128 hex digits"):
        Keep(tmp_path).get(key)


def test_a_folder_that_can_not_be_made_is_told(tmp_path: Path) -> None:
    (tmp_path / "kept").write_bytes(b"")

    with pytest.raises(OutputError, match=r"can't be made.*kept/0f"):
        Keep(tmp_path / "kept").put(KEY, a=np.zeros(3))
