import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter, shift
from typer.testing import CliRunner, Result

from glimsum_jobs.measurements import Checked, FoundOffset, FoundPass
from glimsum_jobs.problems import Place, Problem, Rank
from glimsum_jobs.shot import ShotJob
from glimsum_services.cli.program import make_app
from support.small_shots import exr_pass, raw_small_shot, write_exr_pass

KEYS = {"frame", "dx", "dy", "rotation_deg", "scale", "sigma_px", "trusted"}


def measure(*words: object) -> Result:
    return CliRunner().invoke(make_app(), ["measure", *map(str, words)])


def write_job(folder: Path, **changes: Any) -> Path:
    tree = raw_small_shot(
        frames={"first": 1001, "last": 1002},
        passes={"beauty": exr_pass("beauty"), "lamp": exr_pass("lamp")},
        output="out",
    )
    tree |= changes
    for name, each in tree["passes"].items():
        each["files"] = f"{name}/{name}.%04d.exr"
    path = folder / "small.json"
    path.write_text(json.dumps(tree), "utf-8")
    return path


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
    return write_job(tmp_path)


def test_measure_prints_where_every_pass_lies_for_machines(job: Path) -> None:
    result = measure(job, "--json")

    assert result.exit_code == 0, result.output
    lamp = json.loads(result.output)["passes"]["lamp"]
    first = lamp["frames"][0]
    assert lamp["start_offset"] == 0
    assert set(first) == KEYS
    assert (first["frame"], first["trusted"]) == (1001, True)
    assert (first["dx"], first["dy"]) == (pytest.approx(2, abs=0.1), pytest.approx(-1, abs=0.1))


def test_measure_tells_machines_what_is_left_and_what_is_worth_a_remark(job: Path) -> None:
    told = json.loads(measure(job, "--json").output)

    residual = told["passes"]["lamp"]["residual"]
    assert (residual["rows"], residual["columns"], residual["frames"]) == (2, 2, 2)
    assert len(residual["regions"]) == 4
    assert residual["p50_px"] < residual["p95_px"] < 0.1
    assert told["passes"]["beauty"]["residual"] is None
    assert told["passes"]["lamp"]["offset"] is None
    (remark,) = told["remarks"]
    assert remark["what"].startswith("the job has no recipe")
    overlay = told["passes"]["lamp"]["overlay"]
    assert overlay["agreement_before"] < 0.5
    assert overlay["agreement_after"] > 0.9


def test_measure_writes_pictures_and_numbers_under_names_that_stay(
    job: Path, tmp_path: Path
) -> None:
    result = measure(job, "--out", tmp_path / "s")

    assert result.exit_code == 0, result.output
    assert {path.name for path in (tmp_path / "s").iterdir()} == {
        "beauty_drift.png",
        "lamp_drift.png",
        "lamp_left.png",
        "lamp_overlay.png",
        "measurements.json",
    }
    assert f"{tmp_path / 's' / 'lamp_left.png'}" in result.output
    assert "0 of 2" in result.output
    assert "start offsets as stated, so nothing to compare: lamp, beauty" in result.output
    written = json.loads((tmp_path / "s" / "measurements.json").read_text("utf-8"))
    pictures = written["passes"]["lamp"]["pictures"]
    assert pictures == {each: f"lamp_{each}.png" for each in ("drift", "overlay", "left")}
    assert (
        written["passes"]
        == json.loads(measure(job, "--json", "--out", tmp_path / "s").output)["passes"]
    )


def test_a_lamp_that_is_out_on_every_frame_is_named_not_measured(job: Path, tmp_path: Path) -> None:
    write_job(tmp_path, recipe=[{"pass": "beauty"}, {"pass": "lamp", "stops": "out"}])
    measure(job, "--out", tmp_path / "s")

    told = json.loads(measure(job, "--json").output)
    assert list(told["unmeasured"]) == ["lamp"]
    assert "out" in told["unmeasured"]["lamp"]
    words = measure(job).output
    assert "not measured: lamp, because its lamp is out" in words


def test_one_frame_is_measured_and_drawn(job: Path, tmp_path: Path) -> None:
    write_job(tmp_path, frames={"first": 1001, "last": 1001})
    result = measure(job, "--json", "--out", tmp_path / "s")
    assert result.exit_code == 0, result.output
    lamp = json.loads(result.output)["passes"]["lamp"]
    assert [each["frame"] for each in lamp["frames"]] == [1001]
    assert set(lamp["pictures"]) == {"drift", "overlay", "left"}


def test_a_folder_of_another_shot_is_refused_before_anything_is_written(
    job: Path, tmp_path: Path
) -> None:
    folder = tmp_path / "s"
    folder.mkdir()
    (folder / "measurements.json").write_text('{"shot": "mole_040"}', "utf-8")

    result = measure(job, "--out", folder)

    assert result.exit_code == 4
    assert "another shot" in result.output
    assert "mole_040" in result.output
    assert [path.name for path in folder.iterdir()] == ["measurements.json"]


def test_a_picture_that_is_not_drawn_any_more_is_removed(job: Path, tmp_path: Path) -> None:
    folder = tmp_path / "s"
    folder.mkdir()
    (folder / "lamp_offset.png").write_bytes(b"of an earlier test")
    (folder / "notes.png").write_bytes(b"not ours")

    assert measure(job, "--out", folder).exit_code == 0

    assert not (folder / "lamp_offset.png").exists()
    assert (folder / "notes.png").exists()


def test_damage_inside_a_picture_sets_its_frame_aside_and_the_rest_is_measured(
    job: Path, tmp_path: Path
) -> None:
    file = tmp_path / "lamp" / "lamp.1001.exr"
    content = bytearray(file.read_bytes())
    middle = len(content) // 2
    content[middle : middle + 400] = bytes(400)
    file.write_bytes(content)

    result = measure(job, "--json")

    assert result.exit_code == 1, result.output
    told = json.loads(result.output)
    (aside,) = (each for each in told["remarks"] if each["rank"] == "stops a frame")
    assert (aside["where"]["pass"], aside["where"]["frame"]) == ("lamp", 1001)
    frames = {each["frame"]: each for each in told["passes"]["lamp"]["frames"]}
    assert frames[1002]["dx"] == pytest.approx(2, abs=0.1)


def test_measure_refuses_a_shot_whose_files_are_not_there(job: Path, tmp_path: Path) -> None:
    for file in (tmp_path / "lamp").iterdir():
        file.unlink()

    result = measure(job)

    assert result.exit_code == 1
    assert "no file of the sequence is there" in result.output
    assert "file lamp/lamp.%04d.exr" in result.output  # as the job names it


def test_a_question_about_a_start_offset_is_asked_with_its_scores_drawn(
    job: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def asking(job: ShotJob, *_: object) -> Checked:
        sync = FoundOffset(
            margin=0.02, certain=False, frames=(1001, 1002), scores={0: (2.0, 2.1), 1: (2.0, 2.0)}
        )
        found = FoundPass(first=1, width=128, height=96, count=2, covers=True)
        question = Problem(
            rank=Rank.STOPS_SHOT,
            what="with which file does pass lamp start?",
            place=Place(shot=job.shot, pass_name="lamp"),
        )
        return Checked(
            passes={"beauty": found, "lamp": found.model_copy(update={"sync": sync})},
            mattes={},
            problems=(question,),
            needed_bytes=1,
            free_bytes=2,
        )

    monkeypatch.setattr("glimsum_services.workshop.measuring.check_shot", asking)

    result = measure(job, "--out", tmp_path / "s")

    assert result.exit_code == 1
    assert "with which file does pass lamp start?" in result.output
    assert str(tmp_path / "s" / "lamp_offset.png") in result.output
    assert [path.name for path in (tmp_path / "s").iterdir()] == ["lamp_offset.png"]


def test_a_silhouette_of_a_matte_that_no_step_uses_is_named_so(job: Path, tmp_path: Path) -> None:
    write_job(tmp_path, mattes={"set": {"pass": "lamp"}}, recipe=[{"pass": "beauty"}])

    told = json.loads(measure(job, "--json").output)

    assert told["unmeasured"] == {"lamp": "no step of the recipe uses it"}
