"""A later version takes over what an earlier one has finished, and nothing else.

The truth beside each check is the same job combined anew without looking at earlier versions:
files that are taken over must be its files, byte for byte.
"""

import dataclasses
import hashlib
import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from scipy.ndimage import gaussian_filter

from glimsum_jobs.errors import LeaseLost
from glimsum_jobs.ledger import Control, RunState, Stage
from glimsum_jobs.problems import Rank
from glimsum_workers.frames.earlier_versions import read_finished
from glimsum_workers.frames.kept import Keep
from glimsum_workers.perform import Performer
from support.harbour_jobs import merged
from support.run_here import HereRun, open_run, work_through
from support.small_shots import exr_pass, flat, grain, small_roots, small_shot, write_exr_pass

SIZE = (96, 128)
ALL = [1001, 1002, 1003]
BASE: dict[str, Any] = {
    "passes": {
        "key": exr_pass("key", ambient="leak", level="steady"),
        "bulbs": exr_pass("bulbs"),
        "leak": exr_pass("leak", use="ambient"),
    },
    "mattes": {"window": {"files": "plates:window.%04d.png"}},
    "reference": "key",
    "recipe": [
        {"pass": "key"},
        {"pass": "bulbs", "stops": -0.5},
        {"pass": "bulbs", "stops": -2, "matte": "window"},
    ],
}


def soft(seed: int) -> np.ndarray:
    """Return light with detail that can be registered, (height, width, 3)."""
    rough = np.random.default_rng(seed).normal(0, 1, (*SIZE, 3))
    return np.asarray(0.4 + gaussian_filter(rough, (1.5, 1.5, 0)), np.float32)


def write_matte(folder: Path, number: int, seed: int) -> None:
    codes = (grain(seed, *SIZE)[..., 0] * 200).clip(0, 255).astype(np.uint8)
    Image.fromarray(codes).save(folder / f"window.{number:04d}.png")


@pytest.fixture
def plates(tmp_path: Path) -> Path:
    write_exr_pass(tmp_path, "key", {n: soft(1) * (1 + n / 50) for n in (1, 2, 3)})
    write_exr_pass(tmp_path, "bulbs", {n: np.roll(soft(1), n, 1) for n in (1, 2, 3)})
    write_exr_pass(tmp_path, "leak", {n: grain(20 + n, *SIZE) / 50 for n in (1, 2, 3)})
    for number in (1, 2, 3):
        write_matte(tmp_path, number, 40 + number)
    return tmp_path


def make(plates: Path, version: int, changes: Any = None, *, reused: bool = True) -> HereRun:
    job = small_shot(**merged(BASE, changes or {}))
    run = open_run(job, small_roots(plates), version=version)
    order = run.order.model_copy(update={"reuse": reused})
    return work_through(dataclasses.replace(run, order=order))


def taken(run: HereRun) -> dict[int, str]:
    return {n: each.reused for n, each in run.combined.items() if each.reused is not None}


def files(run: HereRun, folder: str = "master") -> list[str]:
    return [
        hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted((run.folder / folder).iterdir())
    ]


def recipe(index: int, **changes: Any) -> dict[str, Any]:
    steps = [dict(each) for each in BASE["recipe"]]
    steps[index] = merged(steps[index], changes)
    return {"recipe": steps}


def faded(*values: float) -> dict[str, Any]:
    keys = [{"frame": 1001 + n, "value": value} for n, value in enumerate(values)]
    return recipe(1, stops=keys)


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


def test_a_damaged_earlier_master_is_named_and_its_frame_combined_anew(plates: Path) -> None:
    first = make(plates, 1)
    whole = files(first)
    data = bytearray(first.master(1002).read_bytes())
    data[-100] ^= 1
    first.master(1002).write_bytes(data)

    second = make(plates, 2)

    assert taken(second) == {1001: "v001", 1003: "v001"}
    assert files(second) == whole
    (remark,) = second.finished.remarks
    assert remark.rank is Rank.REMARK
    assert remark.what.startswith("the master of an earlier version is damaged")
    assert (remark.place.frame, remark.place.file) == (
        1002,
        "out:small/v001/master/small_v001.1002.exr",
    )
    assert remark.expected == f"SHA-256 {whole[1]}"
    assert remark.seen == f"SHA-256 {hashlib.sha256(data).hexdigest()}"
    assert not list(second.folder.rglob("*.part"))


def test_a_damaged_newer_master_is_passed_by_for_an_older_whole_one(plates: Path) -> None:
    make(plates, 1)
    second = make(plates, 2)
    second.master(1001).write_bytes(b"")

    third = make(plates, 3)

    assert taken(third) == {1001: "v001", 1002: "v002", 1003: "v002"}
    assert len(third.finished.remarks) == 1


def test_masters_that_a_person_has_thrown_away_are_made_again_without_a_word(
    plates: Path,
) -> None:
    first = make(plates, 1)
    whole = files(first)
    shutil.rmtree(first.folder / "master")

    second = make(plates, 2)

    assert taken(second) == {}
    assert files(second) == whole
    assert second.finished.remarks == ()


def test_a_gain_put_back_finds_the_version_before_the_last(plates: Path) -> None:
    first = make(plates, 1)
    make(plates, 2, recipe(0, stops=1))

    third = make(plates, 3)

    assert taken(third) == dict.fromkeys(ALL, "v001")
    assert files(third) == files(first)


def test_a_version_without_a_manifest_is_told_by_the_lines_of_its_workers(plates: Path) -> None:
    first = make(plates, 1)
    (first.folder / "manifest.json").unlink()
    with next((first.folder / "lines").iterdir()).open("ab") as lines:
        lines.write(b'{"stage": "combine", "item": "10')  # a worker died in the middle of it

    second = make(plates, 2)

    assert taken(second) == dict.fromkeys(ALL, "v001")
    assert files(second) == files(first)


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

    monkeypatch.setattr("glimsum_workers.reuse.read_finished", counted)
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
    make(plates, 1, tracked)
    measured = len(kept)
    make(plates, 2, {**tracked, **recipe(1, stops=-1, tint_mired=20)})

    assert measured > 0
    assert kept[measured:] == []


def test_another_view_gets_new_previews_of_the_same_masters(plates: Path) -> None:
    first = make(plates, 1)
    second = make(plates, 2, {"viewing": {"width": 80}})

    assert files(second) == files(first)
    for frame in ALL:
        with Image.open(second.folder / "preview" / f"small_v002.{frame}.jpg") as picture:
            assert picture.size == (80, 60)


def test_a_name_that_leads_out_of_the_version_is_not_followed(plates: Path) -> None:
    first = make(plates, 1)
    path = first.folder / "manifest.json"
    manifest = json.loads(path.read_text())
    for each in manifest["frames"]:
        outside = plates / f"outside.{each['frame']}.exr"
        shutil.copy(first.master(each["frame"]), outside)
        each["name"] = f"../../../{outside.name}"
    path.write_text(json.dumps(manifest))

    second = make(plates, 2)

    assert taken(second) == {}
    assert files(second) == files(first)


def test_a_manifest_of_nonsense_costs_nothing_but_the_time_to_combine(plates: Path) -> None:
    first = make(plates, 1)
    whole = files(first)
    (first.folder / "manifest.json").write_text('{"frames": [{"frame": 1001}, 7]}')

    second = make(plates, 2)

    assert files(second) == whole
    assert second.state is RunState.DONE


def test_a_lease_lost_before_the_rename_leaves_no_file(plates: Path) -> None:
    make(plates, 1)
    run = open_run(small_shot(**BASE), small_roots(plates), version=2)
    run = work_through(run, until=Stage.COMBINE)
    claim = run.ledger.claim("here/1", run.order.run)
    assert claim is not None
    asked: list[int] = []

    def lost_at_the_end() -> Control:
        asked.append(1)
        if len(asked) > 1:  # once before copying, then right before the rename
            raise LeaseLost("another holds it")
        return Control.RUN

    performer = Performer(run.ledger, run.roots, "here")
    with pytest.raises(LeaseLost, match="another holds it"):
        performer(run.order, claim, lost_at_the_end)
    performer.close()

    assert len(asked) == 2
    assert list((run.folder / "master").iterdir()) == []


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
