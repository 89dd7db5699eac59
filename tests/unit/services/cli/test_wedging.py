"""`glimsum wedge` and `glimsum pick`: a sheet, its numbers, and what becomes of a cell."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

from glimsum_services.cli.options import WrongUse
from glimsum_services.cli.program import make_app
from glimsum_services.cli.vary_options import read_varied, write_varied
from glimsum_services.job_file import read_job_file
from support.small_shots import exr_pass, grain, raw_small_shot, write_exr_pass
from support.working_service import WorkingService, working_service

JOB = """\
# The quay at dusk.
glimsum: 1
shot: quay
rate: 24
camera: locked
frames: {first: 1, last: 2}
space: lin_rec709_scene
passes:
  beauty: {files: "beauty.%04d.png", space: srgb_rec709_scene, exposure: {stops: 0}, align: none}
  lamps: {files: "lamps.%04d.png", space: srgb_rec709_scene, exposure: {stops: 0}, align: none}
recipe:
  - {pass: beauty}             # the key
  - {pass: lamps, stops: -1, tint_mired: 20}   # warm
  - pass: lamps
    cues: [{cue: 1, frame: 2, stops: 1}]
output: out
"""


@pytest.fixture
def job(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    for number in (1, 2):
        for name, code in (("beauty", 90), ("lamps", 200)):
            picture = np.full((64, 96, 3), code, np.uint8)
            Image.fromarray(picture).save(tmp_path / f"{name}.{number:04d}.png")
    file = tmp_path / "quay.yaml"
    file.write_text(JOB)
    monkeypatch.setenv("GLIMSUM_STATE_FOLDER", str(tmp_path / "state"))
    return file


def ask(*words: object) -> Any:
    return CliRunner().invoke(make_app(), [str(word) for word in words])


def made(job: Path, *more: object) -> dict[str, Any]:
    result = ask("wedge", job, 1, 2, "--out", job.parent / "sheet.png", *more, "--json")
    assert result.exit_code == 0, result.output
    told: dict[str, Any] = json.loads(result.stdout)
    return told


def test_a_sheet_has_a_picture_a_cell_and_frame_and_says_what_each_is(job: Path) -> None:
    told = made(job, "--vary", "lamps#1=-2,-1,out", "--vary", "lamps#2 cue 1=0 to 1 by 1")

    words = [each["words"] for each in told["cells"]]
    assert words[0] == "lamps#1 -2 stops, lamps#2 cue 1 0 stops"
    assert [each["cell"] for each in told["cells"] if each["as_it_is"]] == [5]
    assert told["now"] == ["lamps#1 -1 stops", "lamps#2 cue 1 +1 stops"]
    assert (told["frames"], told["columns"], told["sheet"]) == ([1, 2], 3, "sheet.png")
    written = json.loads((job.parent / "sheet.json").read_text())
    assert written == {name: value for name, value in told.items() if name != "problems"}
    sheet = np.asarray(Image.open(job.parent / "sheet.png")).astype(int)
    # Three pictures of 96 x 64 a row and four rows: on the second frame the lamps burn.
    assert sheet.shape[1] < 96 * 3 + 60
    flats = [value for value, count in zip(*np.unique(sheet[..., 1], return_counts=True),
                                           strict=True) if count >= 64 * 96]  # fmt: skip
    assert len(flats) >= 6


def test_the_words_mark_the_cell_that_is_the_job_as_it_is(job: Path) -> None:
    result = ask("wedge", job, 1, "--vary", "lamps#1 tint=0,20", "--out", job.parent / "s.jpg")

    assert result.exit_code == 0, result.output
    lines = result.stdout.splitlines()
    assert lines[1:3] == ["    1  lamps#1 tint 0 mired",
                          "    2  lamps#1 tint +20 mired  as it is"]  # fmt: skip
    assert lines[3].startswith("to take one: glimsum pick ")


def test_a_cell_becomes_a_job_file_that_differs_in_its_values_alone(job: Path) -> None:
    made(job, "--vary", "lamps#1=-2,-1,out", "--vary", "lamps#1 tint=20,35")
    out = job.parent / "quay_b.yaml"

    result = ask("pick", job.parent / "sheet.png", 4, "--out", out)

    assert result.exit_code == 0, result.output
    before, after = job.read_text().splitlines(), out.read_text().splitlines()
    changed = [(b, a) for b, a in zip(before, after, strict=True) if b.split() != a.split()]
    assert len(changed) == 1
    assert "stops: -2" in changed[0][1]
    assert "tint_mired: 35" in changed[0][1]
    assert "# warm" in changed[0][1]
    assert after[0] == "# The quay at dusk."
    step = read_job_file(out).jobs[0].steps[1]
    assert (step.stops, step.tint_mired) == (-2, 35)


def test_a_cell_that_says_what_a_job_may_leave_out_becomes_a_file_too(
    job: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made(job, "--vary", "lamps#1 tint=0,20", "--vary", "lamps#1=0,1")
    folder = job.parent / "elsewhere"
    folder.mkdir()
    monkeypatch.chdir(folder)

    result = ask("pick", "../sheet.png", 1, "--out", "../elsewhere/../quay_c.yaml")

    assert result.exit_code == 0, result.output
    step = read_job_file(job.parent / "quay_c.yaml").jobs[0].steps[1]
    assert (step.stops, step.tint_mired) == (0, 0)


def test_a_sheet_here_goes_before_a_wedge_of_the_service_of_that_name(
    job: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made(job, "--vary", "lamps#1=0,1")
    folder = job.parent / "quay"
    folder.mkdir()
    tree = json.loads((job.parent / "sheet.json").read_text())
    (folder / "w001.json").write_text(json.dumps(tree | {"job": "../quay.yaml"}))
    monkeypatch.chdir(job.parent)

    result = ask("pick", "quay/w001", 1, "--out", "quay_d.yaml", "--service", "http://127.0.0.1:9")

    assert result.exit_code == 0, result.output
    for name in (".", "/", "a" * 300, "quay/w002x"):
        wrong = ask("pick", name, 1, "--out", "b.yaml")
        assert (wrong.exit_code, type(wrong.exception)) == (2, SystemExit), wrong.output


def test_a_job_without_a_recipe_gets_one_and_json_stays_json(job: Path) -> None:
    tree = {**json.loads(read_job_file(job).jobs[0].model_dump_json(by_alias=True))}
    plain = {name: value for name, value in tree.items() if value is not None}
    del plain["recipe"]
    plain["passes"] = {n: {k: v for k, v in each.items() if v is not None}
                       for n, each in plain["passes"].items()}  # fmt: skip
    file = job.parent / "plain.json"
    file.write_text(json.dumps(plain))
    made(file, "--vary", "lamps=-1,0")

    result = ask("pick", job.parent / "sheet.json", 1, "--out", job.parent / "plain_b.json")

    assert result.exit_code == 0, result.output
    steps = read_job_file(job.parent / "plain_b.json").jobs[0].steps
    assert [(step.pass_name, step.stops) for step in steps] == [("beauty", 0), ("lamps", -1)]


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (["pick", "sheet.png", 9, "--out", "b.yaml"], "there is no such cell"),
        (["pick", "sheet.png", 2, "--out", "b.yaml"], "this cell is the job as it is"),
        (["pick", "other.png", 1, "--out", "b.yaml"], "neither a sheet nor a wedge of the service"),
        (["pick", "quay.json", 1, "--out", "b.yaml"], "the wedge can't be read"),
        (["pick", "sheet.png", 1, "--out", "state/b.yaml"], "belongs beside"),
        (["pick", "sheet.png", 1, "--out", "quay.yaml"], "a file of this name is there"),
        (["wedge", "quay.yaml", 1, "--out", "s.jpg"], "a wedge varies one or two values"),
        (["wedge", "quay.yaml", 1, "--vary", "beauty=0,1", "--out", "s.exr"], "can't be written"),
        (["wedge", "quay.yaml", 7, "--vary", "beauty=0,1", "--out", "s.jpg"], "no such frame"),
        (["wedge", "quay.yaml", 1, 2, "--vary", "beauty=0 to 2.4 by 0.1", "--vary",
          "lamps#1=1,2,3,4", "--out", "s.jpg"], "too many pictures"),
    ],
)  # fmt: skip
def test_wrong_use_is_told_in_words_and_leaves_nothing(
    job: Path, monkeypatch: pytest.MonkeyPatch, words: list[object], expected: str
) -> None:
    monkeypatch.chdir(job.parent)
    made(Path("quay.yaml"), "--vary", "lamps#1=0,-1")
    Path("quay.json").write_text("{}")
    there = {path for path in Path().iterdir() if path.name != "state"}

    result = ask(*words)

    assert result.exit_code in (1, 2, 4)
    assert expected in result.output
    assert {path for path in Path().iterdir() if path.name != "state"} == there
    assert job.read_text() == JOB


@pytest.mark.parametrize(
    ("text", "values"),
    [
        ("a=-1 to 1 by 0.5", (-1, -0.5, 0, 0.5, 1)),
        ("a = 0 to 1 by 0.3", (0, 0.3, 0.6, 0.9)),
        ("a=0.1 to 0.3 by 0.1", (0.1, 0.2, 0.3)),
        ("a=out, -1 ,2e0", ("out", -1, 2)),
    ],
)
def test_values_are_a_list_or_a_range_with_its_ends(text: str, values: tuple[Any, ...]) -> None:
    assert read_varied([text])[0].values == values


@pytest.mark.parametrize(
    "text",
    [
        "a=-1,0.5,out",
        "a=0.12345678912345,12345.1234567",
        "haze#2=0",
        "beauty tint=-40,0,40",
        "flash cue 1.5=-2,-1",
    ],
)
def test_what_varies_is_written_as_it_is_typed(text: str) -> None:
    assert write_varied(read_varied([text])[0]) == text


@pytest.mark.parametrize(
    "text",
    ["a", "a=", "a=x", "a=1..3", "a=1 to 0 by 1", "a=0 to 1 by 0", "a=1,1", "a=nan", "A=1",
     "a wink=1", "a cue=1", "a=0 to 100 by 1", "a=0 to inf by 1"],
)  # fmt: skip
def test_what_can_t_be_read_is_wrong_use(text: str) -> None:
    with pytest.raises(WrongUse, match="what the wedge varies can't be read") as caught:
        read_varied([text])

    assert caught.value.seen == text


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[WorkingService]:
    folder = tmp_path_factory.mktemp("wedges")
    with working_service(folder) as running:
        for seed, name in enumerate(("key", "bulbs")):
            write_exr_pass(folder / "plates", name, {n: grain(10 * seed + n) for n in (1, 2, 3)})
        tree = raw_small_shot(
            passes={name: exr_pass(name) for name in ("key", "bulbs")},
            recipe=[{"pass": "key"}, {"pass": "bulbs"}],
        )
        (folder / "small.json").write_text(json.dumps(tree))
        running.ask_json("submit", str(folder / "small.json"))
        running.make("small/v001")
        yield running


def test_a_picked_cell_is_the_next_version_of_the_recipe_it_was_made_of(
    service: WorkingService, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = service.folder
    service.ask_json("rerun", "small", "--stops", "key=-3")  # a later version, another recipe
    monkeypatch.setenv("GLIMSUM_STATE_FOLDER", str(folder / "state"))
    roots = [word for name in ("plates", "out") for word in ("--root", f"{name}={folder / name}")]
    asked = ["wedge", folder / "small.json", 1002, "--vary", "bulbs=-1,0", "--out",
             folder / "sheet.jpg", *roots]  # fmt: skip
    result = ask(*asked)
    assert result.exit_code == 0, result.output

    told = service.ask_json("pick", str(folder / "sheet.jpg"), "1")

    assert told["changes"] == ["bulbs -1 stops (was 0)"]
    run = told["runs"][0]["run"]
    service.make(run)
    order = json.loads((service.version(int(run[-3:])) / "job.json").read_text())
    assert order["earlier"] == 1
    # What the service had measured was used, and small sources lie beside it.
    assert list((folder / "out" / "small" / "kept" / "light").iterdir())


def test_a_wedge_of_a_recipe_no_version_has_is_not_picked(service: WorkingService) -> None:
    sheet = service.folder / "sheet.json"
    tree = json.loads(sheet.read_text())
    tree["recipe"][0]["stops"] = 7.0
    (service.folder / "other.json").write_text(json.dumps(tree))

    result = service.ask("pick", str(service.folder / "other.json"), "1")

    assert result.exit_code == 1
    assert "no version of shot small has the recipe this wedge was made of" in result.output
