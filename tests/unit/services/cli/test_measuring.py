import json
from pathlib import Path

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter, shift
from typer.testing import CliRunner

from glimsum_services.cli.program import make_app
from support.small_shots import exr_pass, raw_small_shot, write_exr_pass


@pytest.fixture
def job(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A locked shot of two passes, the second 2 pixels to the right and 1 up."""
    monkeypatch.setenv("GLIMSUM_STATE_FOLDER", str(tmp_path / "state"))
    rng = np.random.default_rng(3)
    soft = gaussian_filter(rng.normal(size=(96, 128)), 1.5)
    scene = (0.5 + 0.1 * soft / soft.std())[..., None].repeat(3, axis=2)
    lamp = shift(scene, (-1, 2, 0), order=3, mode="nearest")
    for name, picture in (("beauty", scene), ("lamp", lamp)):
        grainy = {n: picture + rng.normal(0, 0.002, picture.shape) for n in (1001, 1002)}
        write_exr_pass(tmp_path, name, grainy)
    tree = raw_small_shot(
        frames={"first": 1001, "last": 1002},
        passes={"beauty": exr_pass("beauty"), "lamp": exr_pass("lamp")},
        output="out",
    )
    for name, each in tree["passes"].items():
        each["files"] = f"{name}/{name}.%04d.exr"
    path = tmp_path / "small.json"
    path.write_text(json.dumps(tree), "utf-8")
    return path


def test_measure_prints_where_every_pass_lies_for_machines(job: Path) -> None:
    result = CliRunner().invoke(make_app(), ["measure", str(job), "--json"])

    assert result.exit_code == 0, result.output
    passes = json.loads(result.output)["passes"]
    first = passes["lamp"]["frames"][0]
    assert passes["lamp"]["start_offset"] == 0
    assert set(first) == {"frame", "dx", "dy", "rotation_deg", "scale", "sigma_px", "trusted"}
    assert (first["frame"], first["trusted"]) == (1001, True)
    assert (first["dx"], first["dy"]) == (pytest.approx(2, abs=0.1), pytest.approx(-1, abs=0.1))


def test_measure_writes_a_plot_and_a_picture_a_pass(job: Path, tmp_path: Path) -> None:
    result = CliRunner().invoke(make_app(), ["measure", str(job), "--out", str(tmp_path / "s")])

    assert result.exit_code == 0, result.output
    assert {path.name for path in (tmp_path / "s").iterdir()} == {
        "small_lamp.1002_steady.png",
        "small_beauty_drift.png",
        "small_lamp_drift.png",
    }
    assert "lamp" in result.output
    assert "0 of 2" in result.output


def test_measure_refuses_a_shot_whose_files_are_not_there(job: Path, tmp_path: Path) -> None:
    for file in (tmp_path / "lamp").iterdir():
        file.unlink()

    result = CliRunner().invoke(make_app(), ["measure", str(job)])

    assert result.exit_code == 1
    assert "no file of the sequence is there" in result.output
