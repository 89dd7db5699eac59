"""A later version takes over what an earlier one has finished, and nothing else.

The truth beside each check is the same job combined anew without looking at earlier versions:
files that are taken over must be its files, byte for byte.
"""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from glimsum_jobs.ledger import RunState
from glimsum_workers.frames.earlier_versions import read_finished
from glimsum_workers.frames.kept import Keep
from glimsum_workers.solving.levels import solve_levels
from support.harbour_jobs import merged
from support.reuse_shot import (
    ALL,
    BASE,
    SIZE,
    faded,
    files,
    make,
    recipe,
    soft,
    taken,
    write_matte,
    write_plates,
)
from support.small_shots import exr_pass, flat, grain, write_exr_pass


@pytest.fixture
def plates(tmp_path: Path) -> Path:
    return write_plates(tmp_path)


def test_an_unchanged_shot_is_taken_over_whole_as_files_of_its_own(plates: Path) -> None:
    first, second = make(plates, 1), make(plates, 2)

    assert taken(second) == dict.fromkeys(ALL, "v001")
    assert files(second) == files(first)
    assert files(second, "preview") == files(first, "preview")
    assert sorted(p.name for p in (second.folder / "master").iterdir()) == [
        f"small_v002.{frame}.exr" for frame in ALL
    ]
    for frame in ALL:
        assert second.master(frame).stat().st_nlink == 1
        assert second.master(frame).stat().st_ino != first.master(frame).stat().st_ino
    manifest = json.loads((second.folder / "manifest.json").read_text())
    assert [each["reused"] for each in manifest["frames"]] == ["v001"] * 3
    assert (second.finished.frames, second.finished.reused) == (3, 3)
    assert second.state is RunState.DONE
    assert not list(second.folder.rglob("*.part"))


def other_bytes(plates: Path) -> None:
    write_exr_pass(plates, "bulbs", {2: np.roll(soft(1), 2, 1) * np.float32(1.01)})


CHANGED: dict[str, tuple[dict[str, Any], Callable[[Path], None] | None, list[int]]] = {
    "a gain on one frame": (faded(-0.5, -0.25, -0.5), None, [1001, 1003]),
    "a gain on all frames": (recipe(0, stops=0.125), None, []),
    "a tint": (recipe(1, tint_mired=15), None, []),
    "an operator": (recipe(2, operator="lighten"), None, []),
    "a file's bytes on one frame": ({}, other_bytes, [1001, 1003]),
    "a matte's bytes on one frame": ({}, lambda at: write_matte(at, 3, 77), [1001, 1002]),
    "the place of a pass": ({"passes": {"bulbs": {"align": "shift"}}}, None, []),
    "the level of a pass": ({"passes": {"key": {"level": "follow"}}}, None, []),
    "the working space": ({"space": "lin_rec709_scene"}, None, []),
    "the rate, an attribute": ({"rate": 25}, None, []),
    "the stored form": ({"masters": [{"compression": "zips"}]}, None, []),
    "more frames behind": ({"frames": {"last": 1002}}, None, [1001, 1002]),
    "the whole picture, in masters": ({"picture": {"stops": 1, "in_masters": True}}, None, []),
    "the whole picture, for looking": ({"picture": {"stops": 1}}, None, ALL),
    "nothing but the viewing copies": ({"viewing": {"width": 80}}, None, ALL),
}


@pytest.mark.parametrize("what", CHANGED)
def test_frames_that_a_change_touches_are_combined_and_no_other(plates: Path, what: str) -> None:
    changes, on_disk, untouched = CHANGED[what]
    if "frames" in changes:  # the level is solved over all frames: others would change with it
        changes = merged(changes, {"passes": {"key": {"level": "follow"}}})
        make(plates, 1, {"passes": {"key": {"level": "follow"}}})
    else:
        make(plates, 1)
    if on_disk is not None:
        on_disk(plates)

    later = make(plates, 2, changes)

    anew = make(plates, 3, changes, reused=False)
    assert files(later) == files(anew)
    assert taken(anew) == {}
    # A file of a pass that is held steady or followed may change its neighbours: never too few.
    assert sorted(taken(later)) == untouched


def test_combining_anew_gives_the_same_pixels_and_takes_nothing_over(plates: Path) -> None:
    first, anew = make(plates, 1), make(plates, 2, reused=False)

    assert taken(anew) == {}
    assert [each.digest for each in anew.combined.values()] == [
        each.digest for each in first.combined.values()
    ]


def test_a_gain_put_back_finds_the_version_before_the_last(plates: Path) -> None:
    first = make(plates, 1)
    make(plates, 2, recipe(0, stops=1))

    third = make(plates, 3)

    assert taken(third) == dict.fromkeys(ALL, "v001")
    assert files(third) == files(first)


def test_each_earlier_version_is_read_once_for_all_frames(
    plates: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    make(plates, 1)
    make(plates, 2, recipe(0, stops=1))
    read: list[str] = []
    real = read_finished

    def counted(roots: Any, folder: Any, lines: str) -> Any:
        read.append(folder.name)
        return real(roots, folder, lines)

    monkeypatch.setattr("glimsum_workers.writing.reuse.read_finished", counted)
    make(plates, 3, recipe(0, stops=0.5))

    assert read == ["v002", "v001"]


def test_nothing_is_measured_again_for_other_gains(
    plates: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept: list[str] = []
    real = Keep.put

    def counted(keep: Keep, key: str, **arrays: Any) -> None:
        kept.append(key)
        real(keep, key, **arrays)

    monkeypatch.setattr(Keep, "put", counted)
    tracked = {"passes": {"bulbs": {"align": "similarity"}}}
    solved: list[str] = []

    def counted_solving(job: Any, *given: Any) -> Any:
        solved.append(job.shot)
        return solve_levels(job, *given)

    monkeypatch.setattr("glimsum_workers.solving.kept_levels.solve_levels", counted_solving)
    first = make(plates, 1, tracked)
    measured = len(kept)
    second = make(plates, 2, {**tracked, **recipe(1, stops=-1, tint_mired=20)})

    assert measured > 0
    assert kept[measured:] == []
    assert len(solved) == 1
    assert second.solved == first.solved


def test_another_view_gets_new_previews_of_the_same_masters(plates: Path) -> None:
    first = make(plates, 1)
    second = make(plates, 2, {"viewing": {"width": 80}})

    assert files(second) == files(first)
    for frame in ALL:
        with Image.open(second.folder / "preview" / f"small_v002.{frame}.jpg") as picture:
            assert picture.size == (80, 60)


def test_a_reference_of_another_size_makes_other_frames(plates: Path) -> None:
    # Nothing of the reference is in the picture: its size alone is.
    job = {
        "passes": {"key": {"align": "none", "level": "follow", "ambient": None},
                   "bulbs": {"align": "none"}, "look": exr_pass("look"), "leak": None},
        "reference": "look",
        "recipe": [{"pass": "bulbs"}],
        "mattes": None,
    }  # fmt: skip
    write_exr_pass(plates, "look", {n: flat([0.2] * 3, *SIZE) for n in (1, 2, 3)})
    first = make(plates, 1, job)
    write_exr_pass(plates, "look", {n: flat([0.2] * 3, 48, 64) for n in (1, 2, 3)})

    second = make(plates, 2, job)

    assert first.finished.frames == 3
    assert taken(second) == {}


def rain(**changes: Any) -> dict[str, Any]:
    places = [{"frame": frame, "x": 8, "y": 8} for frame in ALL]
    element = {"files": "plates:rain/rain.%04d.exr", "space": "lin_ap1_scene", "place": places}
    recipe = [*BASE["recipe"], {"element": "rain"}]
    return {"elements": {"rain": {**element, **changes}}, "recipe": recipe}


def test_an_element_that_moves_on_one_frame_or_has_other_bytes_touches_that_frame(
    plates: Path,
) -> None:
    write_exr_pass(plates, "rain", {n: grain(60 + n, 12, 16) for n in (1, 2, 3)})
    make(plates, 1, rain())
    moved = [{"frame": frame, "x": 8, "y": 8 + (frame == 1003)} for frame in ALL]

    second = make(plates, 2, rain(place=moved))
    write_exr_pass(plates, "rain", {1: grain(71, 12, 16)})
    third = make(plates, 3, rain(place=moved))

    anew = make(plates, 4, rain(place=moved), reused=False)
    assert taken(second) == {1001: "v001", 1002: "v001"}
    assert taken(third) == {1002: "v002", 1003: "v002"}
    assert files(third) == files(anew)
