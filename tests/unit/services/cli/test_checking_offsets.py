"""`glimsum check` tells the start offset it found for each pass, and asks where it is not sure."""

import json
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from glimsum_services.cli.program import make_app
from support.moving_planes import draw_frame
from support.small_shots import exr_pass, raw_small_shot, write_exr_pass

FRAMES = 7


@pytest.fixture
def tree(tmp_path: Path) -> dict[str, Any]:
    """A key of 7 files, and a lamp that started 2 files early."""
    write_exr_pass(tmp_path, "key", {n + 1: draw_frame(n) for n in range(FRAMES)})
    write_exr_pass(tmp_path, "lamp", {n + 1: draw_frame(n - 2, "side") for n in range(FRAMES + 3)})
    passes = {"key": exr_pass("key"), "lamp": exr_pass("lamp", start_offset="auto")}
    for name, each in passes.items():
        each["files"] = f"{name}/{name}.%04d.exr"
    frames = {"first": 1001, "last": 1000 + FRAMES}
    return raw_small_shot(camera="moving", frames=frames, passes=passes, output="out")


def check(folder: Path, tree: dict[str, Any], *more: str) -> tuple[int, str]:
    file = folder / "small.json"
    file.write_text(json.dumps(tree), "utf-8")
    result = CliRunner().invoke(make_app(), ["check", str(file), *more])
    return result.exit_code, result.output


def test_check_tells_what_it_found_in_one_line_a_pass(tmp_path: Path, tree: dict[str, Any]) -> None:
    code, words = check(tmp_path, tree)

    assert code == 0, words
    told = [line for line in words.splitlines() if line.startswith("start offset")]
    assert len(told) == 1
    assert told[0].startswith("start offset of lamp: 2, ")
    assert told[0].endswith(" % ahead of the next")


def test_check_tells_machines_the_offset_and_every_score(
    tmp_path: Path, tree: dict[str, Any]
) -> None:
    _, text = check(tmp_path, tree, "--json")

    (job,) = json.loads(text)["jobs"]
    assert job["passes"]["key"]["start_offset"] == 0
    assert job["passes"]["key"]["offset"] is None
    lamp = job["passes"]["lamp"]
    assert (lamp["start_offset"], lamp["first"]) == (2, 3)
    assert lamp["offset"]["certain"]
    tried = {each["start_offset"] for each in lamp["offset"]["candidates"]}
    assert {-1, 0, 1, 2, 3} <= tried


def test_check_asks_where_it_is_not_sure_and_names_the_line_to_write(
    tmp_path: Path, tree: dict[str, Any]
) -> None:
    out = [{"frame": 1002, "value": 0}, {"frame": 1003, "value": "out"}]
    tree["recipe"] = [{"pass": "key"}, {"pass": "lamp", "stops": out}]

    code, words = check(tmp_path, tree)

    assert code == 1
    assert "start offset of lamp: a guess, 2, " in words
    assert "with which file does pass lamp start?" in words
    assert "Write start_offset: 2 if that is so." in words
    assert "lamp/lamp.%04d.exr" in words
    assert "job_folder" not in words
