import csv
import json
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from glimsum_jobs.cues import Cue
from glimsum_jobs.errors import JobError
from glimsum_jobs.problems import Problem
from glimsum_services.cli.program import make_app
from glimsum_services.job_file import read_job_file, read_text
from glimsum_services.job_text.cue_sheets import read_cue_sheet, write_cue_sheet

JOB = """\
glimsum: 1
shot: mole_040
rate: 24
camera: locked
frames: {first: 1001, last: 1112}
passes:
  beauty: {files: b/b.%04d.png, space: srgb_rec709_scene, exposure: {stops: 0}}
  flash: {files: f/f.%04d.png, space: srgb_rec709_scene, exposure: {stops: 0}}
recipe:
  - {pass: beauty}
  - {pass: flash, cues: cue_sheet.csv}
output: out
"""
SHEET = """\
cue,frame,stops,up,down
1,1040,1.0,1,4

37.3,1071,-0.5,,5
"""


def write(folder: Path, sheet: str = SHEET, job: str = JOB) -> Path:
    folder.mkdir(exist_ok=True)
    (folder / "cue_sheet.csv").write_text(sheet)
    file = folder / "mole_040.yaml"
    file.write_text(job)
    return file


def refused(file: Path) -> Problem:
    with pytest.raises(JobError) as caught:
        read_job_file(file)
    (problem,) = caught.value.problems
    return problem


def cues_of(file: Path) -> tuple[Cue, ...]:
    cues = read_job_file(file).jobs[0].steps[1].cues
    assert cues is not None
    return cues


def test_a_sheet_is_taken_in_with_its_defaults(tmp_path: Path) -> None:
    assert cues_of(write(tmp_path)) == (
        Cue(cue=1.0, frame=1040, stops=1.0, up=1, down=4),
        Cue(cue=37.3, frame=1071, stops=-0.5, up=0, down=5),
    )


def test_what_is_kept_of_the_job_holds_the_cues_and_names_no_file(tmp_path: Path) -> None:
    (text,) = read_job_file(write(tmp_path)).texts
    (again,) = read_text(text.encode(), "json").jobs
    assert again.steps[1].cues == cues_of(tmp_path / "mole_040.yaml")


# A spreadsheet's file: byte order mark, CRLF, quotes (RFC 4180), columns in another order.
@pytest.mark.parametrize(
    "data",
    [
        b"\xef\xbb\xbfFrame,Cue\r\n1040,1\r\n1071,2\r\n",
        b'"cue","frame"\r\n"1","1040"\r\n"2","1071"\r\n',
        b"cue, frame, source\n1, 1040,\n2, 1071,\n",
    ],
)
def test_sheets_of_spreadsheets_are_read(tmp_path: Path, data: bytes) -> None:
    file = write(tmp_path)
    (tmp_path / "cue_sheet.csv").write_bytes(data)
    assert cues_of(file) == (Cue(cue=1.0, frame=1040), Cue(cue=2.0, frame=1071))


@pytest.mark.parametrize(
    ("sheet", "place", "seen", "words"),
    [
        ("cue,frame\n1,1040\n2,ten\n", (3, 3), '"ten"', "frame does not hold"),
        ("cue,frame\n1,1040\n\n2,2000\n", (4, 3), "2000", "cue 2 lies outside the shot"),
        ("cue,frame\n1,1040\n1,1071\n", (3, 1), "1 on frame 1040", "two cues are numbered 1"),
        ("cue,frame\n1,1071\n2,1040\n", (3, 3), "cue 1 on frame 1071", "order of their frames"),
        ("cue,frame,level\n1,1040,0\n", (1, 11), "level", "has no column level"),
        ("cue;frame\n1;1040\n", (1, 1), "cue;frame", "has no column cue;frame"),
        ("cue,stops\n1,0\n", (1, 1), "cue, stops", "has no column frame"),
        ("cue,frame,cue\n1,1040,1\n", (1, 11), "cue", "cue is stated twice"),
        ("cue,frame,stops\n1,1040,0,5\n", (2, 10), "1,1040,0,5", "more cells than"),
        ('cue,frame\n"1"x,1040\n', (2, 1), '"1"x,1040', "comma separated values"),
        ("\n", (1, 1), "no line", "the cue sheet is empty"),
        ("cue,frame\n", (None, None), "none", "no cue for step 2"),
    ],
)
def test_what_is_wrong_in_a_sheet_is_named_with_its_file_line_and_column(
    tmp_path: Path, sheet: str, place: tuple[int | None, int | None], seen: str, words: str
) -> None:
    problem = refused(write(tmp_path, sheet))
    assert problem.place.file == str(tmp_path / "cue_sheet.csv")
    assert (problem.place.line, problem.place.column) == place
    assert seen in problem.seen
    assert words in problem.what
    assert problem.remedy


@pytest.mark.parametrize("name", ["../cue_sheet.csv", "/etc/cue_sheet.csv", "sheet.txt", '""'])
def test_only_sheets_below_the_job_are_read(tmp_path: Path, name: str) -> None:
    problem = refused(write(tmp_path / "job", job=JOB.replace("cue_sheet.csv", name)))
    assert "does not name its cue sheet" in problem.what
    assert (problem.place.line, problem.place.column) == (11, 25)
    assert problem.place.file == str(tmp_path / "job" / "mole_040.yaml")


def test_a_sheet_that_is_not_there_or_no_text_is_named(tmp_path: Path) -> None:
    file = write(tmp_path)
    (tmp_path / "cue_sheet.csv").write_bytes(b"cue,frame\n1,10\xff40\n")
    assert "byte 0xff" in refused(file).seen
    (tmp_path / "cue_sheet.csv").unlink()
    problem = refused(file)
    assert (problem.what, problem.seen) == ("the cue sheet cue_sheet.csv can't be read", "no file")


def test_one_sheet_may_serve_several_steps(tmp_path: Path) -> None:
    job = JOB.replace("{pass: beauty}", "{pass: beauty, cues: cue_sheet.csv}")
    sheet = "step,pass,cue,frame\n1,beauty,1,1040\n2,flash,1,1071\n2,,2,1080\n"
    asked = read_job_file(write(tmp_path, sheet, job))
    frames = [[cue.frame for cue in step.cues or ()] for step in asked.jobs[0].steps]
    assert frames == [[1040], [1071, 1080]]


def test_a_sheet_of_another_recipe_is_refused(tmp_path: Path) -> None:
    problem = refused(write(tmp_path, "step,pass,cue,frame\n2,haze,1,1040\n"))
    assert (problem.place.line, problem.place.column) == (2, 3)
    assert (problem.seen, problem.expected) == ("haze", "flash")
    problem = refused(write(tmp_path, "step,cue,frame\n3,1,1040\n"))
    assert problem.seen == "cues for steps 3"


def test_a_sequence_reads_sheets_from_the_folders_of_its_jobs(tmp_path: Path) -> None:
    write(tmp_path / "a", SHEET.replace("1071", "1072"))
    sequence = tmp_path / "harbour.yaml"
    sequence.write_text("glimsum: 1\nsequence: harbour\nshots:\n  - {job: a/mole_040.yaml}\n")
    (job,) = read_job_file(sequence).jobs
    assert [cue.frame for cue in job.steps[1].cues or ()] == [1040, 1072]
    write(tmp_path / "a", SHEET.replace("1071", "2000"))
    problem = refused(sequence)
    assert problem.place.file == str(tmp_path / "a" / "cue_sheet.csv")
    assert (problem.place.line, problem.place.column) == (4, 6)


def test_a_remark_on_a_sheet_names_its_file(tmp_path: Path) -> None:
    (remark,) = read_job_file(write(tmp_path, "cue,frame\n2,1040\n1,1071\n")).remarks
    assert remark.place.file == str(tmp_path / "cue_sheet.csv")
    assert (remark.place.line, remark.place.column) == (3, 1)


def test_a_request_can_not_make_the_service_read_a_sheet() -> None:
    with pytest.raises(JobError, match="a job in a request can't read cue sheets") as caught:
        read_text(JOB.encode(), "yaml")
    place = caught.value.problems[0].place
    assert (place.line, place.column) == (11, 25)


def test_a_sheet_reads_back_as_it_was_written() -> None:
    cues = (
        Cue(cue=1.0, frame=1040, stops=0.1 + 0.2, up=3, down=4),
        Cue(cue=37.25, frame=1071, stops=-1e-7, source=1001),
    )
    text = write_cue_sheet([(2, "flash less beauty", cues)])
    back = tuple(Cue.model_validate(row.cue) for row in read_cue_sheet(text))
    assert back == cues
    # Python's own reader, as any program reads it (RFC 4180).
    assert list(csv.reader(text.splitlines()))[2][:4] == ["2", "flash less beauty", "37.25", "1071"]


def run(*arguments: object) -> tuple[int, str]:
    result = CliRunner().invoke(make_app(), ["cues", *map(str, arguments)])
    return result.exit_code, result.output


def test_the_command_prints_the_sheet_and_what_it_predicts(tmp_path: Path) -> None:
    code, output = run(write(tmp_path))
    lines = [line.split() for line in output.splitlines()]
    assert code == 0
    assert ["2", "flash", "1", "1040", "+1.00", "1", "4"] in lines
    assert ["2", "flash", "37.3", "1071", "-0.50", "0", "5"] in lines
    assert "worst second, by the cues alone: 1, frames 1040" in output


def test_the_command_writes_a_sheet_that_the_job_can_name(tmp_path: Path) -> None:
    file, out = write(tmp_path), tmp_path / "out.csv"
    before = cues_of(file)
    assert run(file, "--csv", out)[0] == 0
    write(tmp_path, out.read_text())
    assert cues_of(file) == before
    code, output = run(file, "--csv", out)
    assert code == 2
    assert "a file of that name" in output
    assert sorted(each.name for each in tmp_path.iterdir()) == [
        "cue_sheet.csv",
        "mole_040.yaml",
        "out.csv",
    ]


def test_the_command_speaks_json(tmp_path: Path) -> None:
    code, output = run(write(tmp_path), "--json")
    told: dict[str, Any] = json.loads(output)
    (step,) = told["steps"]
    assert code == 0
    assert (step["step"], step["of"], step["fade"]) == (2, "flash", "light")
    assert step["cues"][1] == {
        "cue": 37.3, "frame": 1071, "stops": -0.5, "up": 0, "down": 5, "source": None,
    }  # fmt: skip
    assert told["worst_second"] == {"flashes": 1, "frames": [1040]}


def test_a_shot_without_cues_says_so(tmp_path: Path) -> None:
    code, output = run(write(tmp_path, job=JOB.replace(", cues: cue_sheet.csv", "")))
    assert (code, output.strip()) == (0, "mole_040 has no cues")
