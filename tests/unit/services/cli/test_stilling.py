"""`glimsum still`: a finished frame, one of its mattes, or the recipe step by step."""

import json
from pathlib import Path

import numpy as np
import OpenEXR
import pytest
from PIL import Image
from typer.testing import CliRunner

from glimsum_services.cli.program import make_app

JOB = """\
glimsum: 1
shot: quay
rate: 24
camera: locked
frames: {first: 1, last: 2}
space: lin_rec709_scene
passes:
  beauty: {files: "beauty.%04d.png", space: srgb_rec709_scene, exposure: {stops: 0}, align: none}
  lamps: {files: "lamps.%04d.png", space: srgb_rec709_scene, exposure: {stops: 0}, align: none}
mattes:
  window: {files: window.png}
recipe:
  - {pass: beauty}
  - {pass: lamps, stops: -1, matte: window, tint_mired: 20}
output: out
"""


@pytest.fixture
def job(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    for number in (1, 2):
        for name, code in (("beauty", 90), ("lamps", 200)):
            picture = np.full((64, 96, 3), code, np.uint8)
            Image.fromarray(picture).save(tmp_path / f"{name}.{number:04d}.png")
    window = np.zeros((64, 96), np.uint8)
    window[:, 48:] = 128
    Image.fromarray(window).save(tmp_path / "window.png")
    file = tmp_path / "quay.yaml"
    file.write_text(JOB)
    monkeypatch.setenv("GLIMSUM_STATE_FOLDER", str(tmp_path / "state"))
    return file


def test_a_matte_is_shown_as_its_weights(job: Path) -> None:
    out = job.parent / "window_look.png"
    asked = ["still", str(job), "1", "--matte", "window", "--out", str(out)]

    result = CliRunner().invoke(make_app(), asked)

    assert result.exit_code == 0, result.output
    assert "matte window" in result.output
    codes = np.asarray(Image.open(out))
    assert (int(codes[30, 10].max()), int(codes[30, 80].min())) == (0, 128)


def test_a_matte_as_light_file_holds_the_weights_themselves(job: Path) -> None:
    out = job.parent / "window.exr"

    result = CliRunner().invoke(
        make_app(), ["still", str(job), "1", "--matte", "window", "--out", str(out)]
    )

    assert result.exit_code == 0, result.output
    with OpenEXR.File(str(out), separate_channels=True) as file:
        green = np.asarray(file.parts[0].channels["G"].pixels, np.float32)
    np.testing.assert_allclose(green[30, [10, 80]], [0, 128 / 255], rtol=2**-11)


def test_a_matte_that_is_not_in_the_job_is_named_with_those_that_are(job: Path) -> None:
    out = job.parent / "sky.png"

    result = CliRunner().invoke(
        make_app(), ["still", str(job), "1", "--matte", "sky", "--out", str(out), "--json"]
    )

    assert result.exit_code == 1
    told = json.loads(result.output)
    assert "there is no matte called sky" in json.dumps(told)
    assert not out.exists()


def test_the_recipe_is_shown_step_by_step_alone_and_so_far(job: Path) -> None:
    steps, whole = job.parent / "steps.png", job.parent / "whole.png"
    for asked in (["--steps", "--out", str(steps)], ["--out", str(whole)]):
        result = CliRunner().invoke(make_app(), ["still", str(job), "2", *asked])
        assert result.exit_code == 0, result.output

    sheet, finished = np.asarray(Image.open(steps)), np.asarray(Image.open(whole))
    across, down = 96 + 12, 64 + 24 + 12  # a picture, the line below it, the gaps between
    left, top = 12, 12 + 24
    cells = [
        [sheet[top + row * down :][:64, left + column * across :][:, :96] for column in (0, 1)]
        for row in (0, 1)
    ]
    np.testing.assert_array_equal(cells[0][0], cells[0][1])  # the first step is the picture
    np.testing.assert_array_equal(cells[1][1], finished)
    assert cells[1][0][30, 10].max() == 0  # the matte keeps the second step out on the left
    assert cells[1][0][30, 80].min() > 60


@pytest.mark.parametrize("wrong", [["--matte", "window", "--out", "a.png"], ["--out", "a.exr"]])
def test_a_sheet_of_steps_is_a_picture_of_the_whole_recipe(job: Path, wrong: list[str]) -> None:
    result = CliRunner().invoke(make_app(), ["still", str(job), "1", "--steps", *wrong])

    assert result.exit_code == 2
    assert "a sheet of steps is a picture of the whole recipe" in result.output
