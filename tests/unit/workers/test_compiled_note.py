"""The note that all is compiled holds for what is there, this compiler and this machine."""

import os
from pathlib import Path

import pytest

from glimsum_workers import compiled_note
from glimsum_workers.compiled_note import NOTE, everything_is_compiled, write_note


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return a folder with what the compiler keeps of two loops, and the note."""
    kept = tmp_path / "compiled_0123"
    kept.mkdir()
    for name in ("tiles.lay-8.py311.nbi", "tiles.lay-8.py311.1.nbc", "sums.add-3.py311.nbi"):
        (kept / name).write_bytes(b"code")
    assert not everything_is_compiled(tmp_path)
    assert write_note(tmp_path) == 3
    return tmp_path


def kept_in(folder: Path) -> Path:
    return folder / "compiled_0123" / "tiles.lay-8.py311.1.nbc"


def test_a_folder_that_was_filled_is_taken_as_it_is(folder: Path) -> None:
    assert everything_is_compiled(folder)


def test_a_file_that_is_gone_or_cut_is_missed(folder: Path) -> None:
    kept_in(folder).write_bytes(b"")
    assert not everything_is_compiled(folder)
    kept_in(folder).unlink()
    assert not everything_is_compiled(folder)


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"files": [], "made_by": 1}', "\ud800"])
def test_a_note_that_is_damaged_is_no_note(folder: Path, text: str) -> None:
    (folder / NOTE).write_bytes(text.encode(errors="surrogatepass"))

    assert not everything_is_compiled(folder)


def test_a_loop_file_of_another_time_is_compiled_again(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """numba holds what it kept against size and time of the loop's file."""
    loops = tmp_path / "loops"
    loops.mkdir()
    (loops / "tiles.py").write_text("one")
    monkeypatch.setattr(compiled_note, "_LOOPS", loops)
    write_note(folder)
    assert everything_is_compiled(folder)

    os.utime(loops / "tiles.py", ns=(1, 1))

    assert not everything_is_compiled(folder)


def test_another_compiler_or_processor_compiles_again(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patch:
        patch.setattr(compiled_note, "version", lambda _name: "0.0")
        assert not everything_is_compiled(folder)
    with monkeypatch.context() as patch:
        patch.setattr(compiled_note, "_processor", lambda: ["another"])
        assert not everything_is_compiled(folder)
    with monkeypatch.context() as patch:
        patch.setenv("NUMBA_CPU_NAME", "generic")
        assert not everything_is_compiled(folder)
    assert everything_is_compiled(folder)


def test_a_note_that_cannot_be_written_leaves_the_old_one_and_no_part(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = (folder / NOTE).read_bytes()

    def full(*_: object) -> int:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", full)

    with pytest.raises(OSError, match="No space left on device"):
        write_note(folder)

    assert (folder / NOTE).read_bytes() == before
    assert [file.name for file in folder.glob(f"{NOTE}*")] == [NOTE]
