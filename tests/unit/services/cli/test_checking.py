"""`glimsum check` counts the questions of a draft that still stand, and refuses none for them."""

import json
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

from glimsum_services.cli.open_questions import open_questions
from glimsum_services.cli.program import make_app

JOB = """\
glimsum: 1
shot: quay
# ? at how many frames a second is the shot shown? (no file says)
rate: 24
camera: locked
frames: {first: 1, last: 2}
passes:
  beauty:
    files: b.%04d.png
    space: srgb_rec709_scene
    # ? which exposure? in stops
    exposure: {stops: 0}
output: out
"""


@pytest.fixture
def job(tmp_path: Path) -> Path:
    for number in (1, 2):
        picture = np.full((64, 96, 3), 90, np.uint8)
        Image.fromarray(picture).save(tmp_path / f"b.{number:04d}.png")
    file = tmp_path / "quay.yaml"
    file.write_text(JOB)
    return file


def test_open_questions_are_counted_with_the_place_of_the_first_and_refuse_nothing(
    job: Path,
) -> None:
    result = CliRunner().invoke(make_app(), ["check", str(job)])

    assert result.exit_code == 0
    assert "2 questions of the draft still in the job" in result.output
    assert f"file {job}, line 3, column 1" in result.output
    assert "# ? at how many frames a second" in result.output
    assert "can be combined" in result.output


def test_a_refused_job_names_its_open_questions_too(job: Path) -> None:
    job.write_text(JOB.replace("    exposure: {stops: 0}\n", ""))

    result = CliRunner().invoke(make_app(), ["check", str(job), "--json"])

    problems = json.loads(result.output)["jobs"][0]["problems"]
    assert result.exit_code == 1
    assert [each["rank"] for each in problems] == ["stops the shot", "remark"]
    assert problems[1]["where"] == {"file": str(job), "line": 3, "column": 1}


def test_answered_questions_are_not_mentioned(job: Path) -> None:
    lines = [line for line in JOB.splitlines() if "# ?" not in line]
    job.write_text("\n".join(lines))

    result = CliRunner().invoke(make_app(), ["check", str(job)])

    assert result.exit_code == 0
    assert "of the draft" not in result.output


def test_only_lines_that_begin_with_the_mark_ask(tmp_path: Path) -> None:
    file = tmp_path / "a.yaml"
    file.write_text("shot: a  # ? no\n   # ? yes\n# yes?\n")

    found = open_questions(file)

    assert [(each.place.line, each.place.column) for each in found] == [(2, 4)]
    assert "1 question of" in found[0].what
    assert open_questions(tmp_path / "none.yaml") == []


def test_a_still_says_where_its_measurements_are_kept(
    job: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("GLIMSUM_STATE_FOLDER", str(job.parent / "state"))
    still = ["still", str(job), "1", "--out", str(job.parent / "look.jpg")]

    words = CliRunner().invoke(make_app(), still)
    told = CliRunner().invoke(make_app(), [*still, "--json"])

    kept = job.parent / "state" / "stills"
    assert (words.exit_code, told.exit_code) == (0, 0)
    assert words.output.count(f"kept in {kept} for the next still") == 1
    assert json.loads(told.output)["kept"] == str(kept)
