"""What refuses a wedge before a file is opened, each with place, value seen and expected."""

from typing import Any

import pytest
from pydantic import ValidationError

from glimsum_jobs.errors import JobError
from glimsum_jobs.reading import read_shot
from glimsum_jobs.varied import Varied
from glimsum_jobs.wedge_checks import refuse_wedge
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
