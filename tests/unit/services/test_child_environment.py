"""A worker's compiled code is kept where its own machine can write, and never mistaken."""

from pathlib import Path

import pytest

from glimsum_services import child_environment
from glimsum_services.child_environment import kept_kernels


def test_compiled_code_is_kept_below_the_state_folder(tmp_path: Path) -> None:
    folder = Path(kept_kernels(tmp_path, {})["NUMBA_CACHE_DIR"])

    assert folder.parent == tmp_path / "compiled"
    assert folder.is_dir()


def test_a_folder_that_somebody_named_comes_first(tmp_path: Path) -> None:
    assert kept_kernels(tmp_path, {"NUMBA_CACHE_DIR": "/elsewhere"}) == {}


def test_other_loops_are_kept_in_another_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    loops = tmp_path / "engine" / "compiled"
    loops.mkdir(parents=True)
    place = type("Place", (), {"submodule_search_locations": [str(tmp_path)]})
    monkeypatch.setattr(child_environment, "find_spec", lambda _name: place)

    (loops / "called.py").write_text("one")
    before = kept_kernels(tmp_path, {})
    (loops / "called.py").write_text("two")

    assert before != kept_kernels(tmp_path, {})
