"""The demo's folder and its job, and the commands that look at a job without a service."""

import json
from pathlib import Path

import OpenImageIO
import pytest
from typer.testing import CliRunner, Result

from glimsum_jobs.errors import OutputError
from glimsum_jobs.mattes import BackingMatte
from glimsum_jobs.passes import Level
from glimsum_services.cli.program import make_app
from glimsum_services.demo.making import FULL_JOB_FILE, JOB_FILE, make_demo
from glimsum_services.job_file import read_job_file
from glimsum_services.workshop.drawing_takes import TAKES, draw_takes


def ask(*words: str) -> Result:
    return CliRunner().invoke(make_app(), list(words))


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_demo(tmp_path_factory.mktemp("demo"))


@pytest.fixture(autouse=True)
def own_state(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("GLIMSUM_STATE_FOLDER", str(tmp_path / "state"))
    monkeypatch.delenv("GLIMSUM_ROOTS", raising=False)


def test_the_demo_job_shows_what_the_service_can_do(job: Path) -> None:
    asked = read_job_file(job)

    shot = asked.jobs[0]
    assert asked.remarks == ()
    assert all(isinstance(each.dark, Level) for each in shot.passes.values())
    assert shot.passes["leak"].use == "ambient"
    assert shot.passes["practicals"].level == "steady"
    assert {each.start_offset for each in shot.passes.values()} == {0, 1, 2, 3}
    assert shot.passes["reference"].files.endswith(".mp4")
    assert isinstance(shot.mattes["set"], BackingMatte)
    assert [step.pass_name for step in shot.steps if isinstance(step.stops, tuple)] == ["flash"]
    assert any(step.tint_mired for step in shot.steps)
    assert any(step.matte == "set" for step in shot.steps)


def test_the_second_job_holds_everything_a_recipe_can_do(job: Path) -> None:
    draw_takes(job.parent)

    asked = read_job_file(job.with_name(FULL_JOB_FILE))

    shot = asked.jobs[0]
    assert shot.takes["haze"].of == tuple(take.name for take in TAKES)
    assert shot.takes["haze"].combine == "median"
    assert {type(matte).__name__ for matte in shot.mattes.values()} == {
        "BackingMatte",
        "ShapeMatte",
        "LuminanceMatte",
        "AnyMattes",
    }
    assert any(step.cues for step in shot.steps)
    assert [step.insert for step in shot.steps if step.insert] == ["tide_board"]
    assert shot.inserts["tide_board"].holdout == "rigging"
    assert [step.element for step in shot.steps if step.element] == ["rain"]
    assert not shot.picture.changes_nothing
    result = ask("check", str(job.with_name(FULL_JOB_FILE)), "--json")
    report = json.loads(result.output)["jobs"][0]
    assert (report["refused"], report["set_aside"], report["problems"]) == (False, [], [])


def test_a_take_that_is_lost_is_drawn_as_it_was_and_the_others_are_left(job: Path) -> None:
    draw_takes(job.parent)
    files = {file: file.stat().st_mtime_ns for file in job.parent.glob("takes/*/*.png")}
    lost = job.parent / "takes" / "haze_b" / "haze_b.0004.png"
    drawn = lost.read_bytes()
    lost.unlink()

    draw_takes(job.parent)

    assert lost.read_bytes() == drawn
    left = {file: file.stat().st_mtime_ns for file in job.parent.glob("takes/*/*.png")}
    assert {file for file in files if left[file] != files[file]} == {lost}
    assert not list(job.parent.rglob("*.part"))


def test_check_finds_nothing_wrong_with_the_demo(job: Path) -> None:
    result = ask("check", str(job), "--json")

    report = json.loads(result.output)["jobs"][0]
    assert result.exit_code == 0
    assert (report["refused"], report["set_aside"], report["problems"]) == (False, [], [])
    # File counts and first files: glimsum_services/demo/passes/README.txt.
    files = {name: each["files"] for name, each in report["passes"].items()}
    first = {name: each["first"] for name, each in report["passes"].items()}
    assert files == {
        "reference": 10,
        "beauty": 8,
        "practicals": 11,
        "flash": 10,
        "haze": 9,
        "silhouette": 10,
        "leak": 8,
    }
    assert first == {
        "reference": 0,
        "beauty": 1001,
        "practicals": 3,
        "flash": 86402,
        "haze": 102,
        "silhouette": 3,
        "leak": 1,
    }


def test_check_names_the_missing_file_as_the_job_writes_it_and_ends_with_1(job: Path) -> None:
    late = job.with_name("late.yaml")
    late.write_text(job.read_text().replace("start_offset: 3 ", "start_offset: 4 "))

    result = ask("check", str(late))

    assert result.exit_code == 1
    assert "frame 1008, file passes/practicals/practicals.0011.jpg" in result.output
    assert "Stops a frame (1)" in result.output
    assert result.output.rstrip().endswith("can be combined, 1 frame set aside")


def test_check_goes_on_to_the_next_file_after_one_that_is_refused(job: Path) -> None:
    wrong = job.with_name("wrong.yaml")
    wrong.write_text(job.read_text().replace("rate: 24", "rate: often"))

    result = ask("check", str(wrong), str(job))

    assert result.exit_code == 1
    assert "Stops the shot (1)" in result.output
    assert "refused" in result.output
    assert result.output.rstrip().endswith("can be combined")


def test_a_still_is_the_frame_in_light_with_its_number(job: Path, tmp_path: Path) -> None:
    out = tmp_path / "frame.exr"

    result = ask("still", str(job), "1005", "--out", str(out))

    assert result.exit_code == 0, result.output
    opened = OpenImageIO.ImageInput.open(str(out))
    assert opened is not None
    spec = opened.spec()
    opened.close()
    assert (spec.width, spec.height, spec.nchannels) == (960, 540, 3)
    assert spec["imageCounter"] == 1005
    assert [path.name for path in tmp_path.glob("*frame*")] == ["frame.exr"]


def test_a_still_of_a_frame_that_is_not_in_the_shot_is_wrong_use(job: Path, tmp_path: Path) -> None:
    result = ask("still", str(job), "1009", "--out", str(tmp_path / "frame.jpg"))

    assert result.exit_code == 2
    assert "seen:     1009" in result.output
    assert "expected: 1001 to 1008" in result.output


def test_a_draft_of_the_demo_passes_is_a_job_with_questions_and_sheets(
    job: Path, tmp_path: Path
) -> None:
    out = tmp_path / "drafted.yaml"

    result = ask("draft", str(job.parent / "passes"), "--out", str(out), "--json")

    told = json.loads(result.output)
    assert result.exit_code == 0
    assert "shot: passes" in out.read_text()
    assert {Path(sheet).name for sheet in told["sheets"]} == {
        f"{name}.jpg"
        for name in ("beauty", "black", "flash", "haze", "matte", "practicals", "reference")
    }
    assert "passes.flash.exposure" in [each["field"] for each in told["questions"]]


def test_a_changed_demo_job_is_kept(tmp_path: Path) -> None:
    job = make_demo(tmp_path)
    job.write_text("mine")

    make_demo(tmp_path)

    assert job.read_text() == "mine"
    assert not list(tmp_path.rglob("*.part"))


def test_a_demo_that_can_not_be_written_leaves_no_half_file(tmp_path: Path) -> None:
    blocked = tmp_path / "demo"
    blocked.mkdir()
    (blocked / "passes").write_text("a file where a folder must be")

    with pytest.raises(OutputError, match=r"can't be put there .*file .*passes"):
        make_demo(blocked)

    assert not (blocked / JOB_FILE).exists()


def test_the_list_of_spaces_names_those_the_demo_uses(job: Path) -> None:
    listed = {each["id"] for each in json.loads(ask("spaces", "--json").output)["spaces"]}

    assert {each.space for each in read_job_file(job).jobs[0].passes.values()} <= listed
