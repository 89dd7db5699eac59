"""What refuses a wedge before a file is opened, each with place, value seen and expected."""

from typing import Any

import pytest
from pydantic import ValidationError

from glimsum_jobs import wedge_checks
from glimsum_jobs.errors import JobError
from glimsum_jobs.reading import read_shot
from glimsum_jobs.shot import ShotJob
from glimsum_jobs.varied import Varied
from glimsum_jobs.wedge_checks import refuse_wedge
from glimsum_jobs.wedges import Cell, job_of_cell
from unit.jobs.example_jobs import small_job

JOB = read_shot(small_job())[0]
FINE = Varied(name="practicals", values=(-1.0, 0.0, "out"))


def test_what_can_be_made_is_not_refused() -> None:
    refuse_wedge(JOB, [FINE], [1001, 1006])


@pytest.mark.parametrize(
    ("varied", "frames", "words"),
    [
        ([FINE], [1000], r"no such frame \(shot mole_040, frame 1000\); seen: 1000; expected: 1001 to 1006"),  # noqa: E501  # one sentence
        ([FINE], [1001, 1001], r"a frame stands twice \(.*frame 1001\); seen: 2 times; expected: each frame once"),  # noqa: E501  # one sentence
        ([Varied(name="practicals", values=tuple(map(float, range(-12, 13)))),
          Varied(name="practicals", field="tint_mired", values=(0.0, 20.0))],
         [1001, 1002, 1003, 1004],
         r"too many pictures \(.*--vary\); seen: 200 pictures; expected: 150 at most"),
        ([Varied(name="practicals", values=(0.5, 0.0, 0.5))], [1001],
         r"a value of practicals stands twice \(.*--vary\); seen: 0.5; expected: different values"),
        ([Varied(name="practicals", field="tint_mired", values=(5000.0,))], [1001], "5000"),
        ([Varied(name="practicals", values=(25.0,))], [1001], "25"),
        ([Varied(name="rain", values=(1.0,))], [1001], "rain"),
    ],
)  # fmt: skip
def test_what_can_t_be_made_says_why(varied: list[Varied], frames: list[int], words: str) -> None:
    with pytest.raises(JobError, match=words) as caught:
        refuse_wedge(JOB, varied, frames)

    assert str(caught.value).startswith("the wedge of shot mole_040 can't be made")


def test_a_value_is_looked_at_once_not_beside_every_other(monkeypatch: pytest.MonkeyPatch) -> None:
    """The most that can be asked for, refused without a job for each of its 625 cells."""
    looked_at: list[int] = []

    def look_at(job: ShotJob, cell: Cell) -> ShotJob:
        looked_at.append(cell.cell)
        return job_of_cell(job, cell)

    monkeypatch.setattr(wedge_checks, "job_of_cell", look_at)
    stops = Varied(name="practicals", values=tuple(float(100 + each) for each in range(25)))
    tints = Varied(name="practicals", field="tint_mired", values=tuple(map(float, range(25))))

    with pytest.raises(JobError, match="too many pictures") as caught:
        refuse_wedge(JOB, [stops, tints], [1001])

    assert looked_at == [*range(1, 26), *range(26, 626, 25)]
    told = [problem.seen for problem in caught.value.problems if problem.seen]
    assert all(any(str(int(value)) in seen for seen in told) for value in stops.values)


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ({"values": [float("nan")]}, "finite number"),
        ({"values": [float("inf")]}, "finite number"),
        ({"values": []}, "at least 1 item"),
        ({"values": [0], "field": "cue"}, "cue is the number of the cue"),
        ({"values": [0], "cue": 3}, "cue is the number of the cue"),
    ],
)
def test_what_is_no_value_is_none(told: dict[str, Any], words: str) -> None:
    with pytest.raises(ValidationError, match=words):
        Varied.model_validate({"name": "practicals"} | told)
