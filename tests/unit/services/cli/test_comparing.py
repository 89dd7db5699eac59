"""Two versions compared from their folders, with a service and without."""

import json
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner, Result

from glimsum_services.cli.program import make_app
from glimsum_services.folders import write_whole
from glimsum_services.submit import JOB_FILE
from support.harbour_jobs import merged
from support.reuse_shot import make, recipe, write_plates
from support.run_here import HereRun

NOBODY = "http://127.0.0.1:9"
KEYS = [{"frame": 1001, "value": 0}, {"frame": 1002, "value": 0.5}, {"frame": 1003, "value": 0}]


def entered(run: HereRun) -> HereRun:
    """Enter the order of a run in its folder, as a submit does."""
    text = run.order.model_dump_json(by_alias=True, indent=1)
    write_whole(run.folder, JOB_FILE, text.encode())
    return run


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    plates = write_plates(tmp_path_factory.mktemp("versions"))
    plain = {"passes": {"key": {"level": "follow"}}}
    entered(make(plates, 1, plain))
    entered(make(plates, 2, merged(plain, recipe(0, stops=KEYS))))
    entered(make(plates, 3, merged(plain, {"space": "lin_rec709_scene"})))
    before = os.environ.get("GLIMSUM_ROOTS")
    os.environ["GLIMSUM_ROOTS"] = f"plates={plates},out={plates / 'out'}"
    yield plates
    if before is None:
        del os.environ["GLIMSUM_ROOTS"]
    else:
        os.environ["GLIMSUM_ROOTS"] = before


def ask(*words: str) -> Result:
    return CliRunner().invoke(make_app(), ["compare", *words, "--service", NOBODY])


def ask_json(*words: str) -> Any:
    result = ask(*words, "--json")
    assert result.exit_code == 0, result.output
    return json.loads(result.output)


def test_equal_frames_are_told_equal_and_changed_ones_by_their_figures(folder: Path) -> None:
    told = ask_json("small", "v001", "v002")

    assert [(each["frame"], each["is"]) for each in told["frames"]] == [
        (1001, "equal"),
        (1002, "changed"),
        (1003, "equal"),
    ]
    off = told["frames"][1]["difference"]
    # One of three lamps half a stop up: brighter, by less than half a stop.
    assert 0 < off["stops"] < 0.5
    assert off["changed_share"] > 0.5
    assert told["changes"] == ["key stops 1001 0, 1002 0.5, 1003 0 (was 0)"]


def test_it_is_told_in_words_for_people(folder: Path) -> None:
    result = ask("small", "1", "2")

    lines = result.output.splitlines()
    assert lines[0] == "small: v001 earlier, v002 later; 2 of 3 frames are equal"
    assert lines[2].split() == ["frame", "is", "mean", "largest", "stops", "most", "stops",
                                "pixels", "changed"]  # fmt: skip
    assert lines[3].startswith(" 1002  changed")


def test_a_pair_sheet_shows_earlier_later_and_the_difference(folder: Path, tmp_path: Path) -> None:
    told = ask_json("small", "v001", "v002", "--out", str(tmp_path / "pairs"))

    assert told["pair_sheet"] == str(tmp_path / "pairs" / "small_v001_v002_pairs.png")
    with Image.open(told["pair_sheet"]) as sheet:
        pixels = np.asarray(sheet)
    # One row of three pictures 128 wide, 12 pixels between; 36 above, a line of 24 below.
    assert pixels.shape == (36 + 96 + 24 + 12, 12 + 3 * (128 + 12), 3)
    earlier, later, off = (pixels[36:132, 12 + n * 140 : 140 + n * 140] for n in range(3))
    assert later.mean() > earlier.mean()
    assert off.max() > 128


def test_equal_versions_have_no_pair_sheet(folder: Path, tmp_path: Path) -> None:
    result = ask("small", "v001", "v002", "--frames", "1001", "--out", str(tmp_path / "none"))

    assert result.exit_code == 0
    assert "1 of 1 frames are equal" in result.output
    assert "no frame differs: no pair sheet" in result.output
    assert not (tmp_path / "none").exists()


def test_a_damaged_master_is_never_told_equal(folder: Path) -> None:
    master = folder / "out" / "small" / "v002" / "master" / "small_v002.1003.exr"
    whole = master.read_bytes()
    try:
        master.write_bytes(whole[:-9])
        damaged = ask("small", "v001", "v002", "--frames", "1003")
        master.unlink()
        gone = ask("small", "v001", "v002", "--frames", "1003")
    finally:
        master.write_bytes(whole)

    assert (damaged.exit_code, gone.exit_code) == (1, 1)
    assert "the master of v002 is not the one that was written" in damaged.output
    assert "the master of v002 can't be read" in gone.output


def test_versions_in_other_working_spaces_are_not_compared(folder: Path) -> None:
    result = ask("small", "v001", "v003")

    assert result.exit_code == 1
    assert "seen:     lin_rec709_scene" in result.output
    assert "expected: lin_ap1_scene, as in v001" in result.output


def test_a_version_that_is_not_there_is_told_with_the_roots_looked_below(folder: Path) -> None:
    result = ask("small", "v001", "v009")

    assert result.exit_code == 1
    assert "shot small has no version 9 here" in result.output
    assert f"out={folder / 'out'}" in result.output
