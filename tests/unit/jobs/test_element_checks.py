"""What a job is told of its elements before a frame is touched."""

from typing import Any

import pytest

from glimsum_jobs.element_checks import check_elements
from glimsum_jobs.errors import JobError
from glimsum_jobs.findings import Findings
from glimsum_jobs.problems import Problem, Rank
from glimsum_jobs.reading import read_shot
from glimsum_jobs.shot import ShotJob
from unit.jobs.example_jobs import small_job
from unit.jobs.test_elements import RAIN, element, numbers


def told_of(**more: Any) -> list[Problem]:
    tree = small_job(elements={"rain": {**RAIN, **more}})
    tree["recipe"] = [*tree["recipe"], {"element": "rain"}]
    job = ShotJob.model_validate(tree)
    findings = Findings({}, job.shot)
    check_elements(job, findings)
    return findings.problems


def test_a_sound_element_is_not_remarked_on() -> None:
    assert told_of() == []


@pytest.mark.parametrize(
    ("more", "what", "field", "seen", "expected"),
    [
        (
            {"space": "data"},
            "element rain is stated to be data",
            "space",
            "data",
            "the space its colour is encoded in",
        ),
        ({"space": "no_such"}, "colour space not known", "space", "no_such", "one of our"),
        (
            {"frames": {"first": 900, "last": 950}},
            "element rain is on no frame of the shot",
            "frames",
            "frames 900 to 950",
            "frames from 1001 to 1006",
        ),
        (
            {"follow": "reference"},
            "what shall element rain follow",
            "follow",
            "without place and patch",
            "a patch of the reference",
        ),
        (
            {"follow": "reference", "patch": {"frame": 1040, "x": 1, "y": 1}},
            "is told for no frame of the shot",
            "follow",
            "frame 1040",
            "1001 to 1006",
        ),
        (
            {"patch": {"frame": 1002, "x": 1, "y": 1}},
            "the patch of element rain would not be used",
            "patch",
            "without follow",
            "follow: reference",
        ),
    ],
)
def test_what_can_not_be_meant_stops_the_shot(
    more: dict[str, Any], what: str, field: str, seen: str, expected: str
) -> None:
    (problem,) = told_of(**more)

    assert what in problem.what
    assert problem.rank is Rank.STOPS_SHOT
    assert problem.place.field == f"elements.rain.{field}"
    assert seen in problem.seen
    assert expected in problem.expected
    assert problem.remedy


def test_a_place_outside_the_shot_is_worth_a_remark() -> None:
    (problem,) = told_of(place=[{"frame": 990, "x": 0, "y": 0}, {"frame": 1004, "x": 9, "y": 0}])

    assert problem.rank is Rank.REMARK
    assert problem.seen == "frames 990"


@pytest.mark.parametrize(
    ("pace", "rate"),
    [({}, "203.65"), ({"every": 2}, "101.82"), ({"step": 3}, "610.94")],
)
def test_the_rate_for_a_miniature_that_falls_is_told_and_changes_nothing(
    pace: dict[str, Any], rate: str
) -> None:
    (problem,) = told_of(model_scale=72, **pace)

    assert problem.rank is Rank.REMARK
    assert f"filmed at {rate} frames a second" in problem.expected
    assert numbers(element(model_scale=72, **pace), 4) == numbers(element(**pace), 4)


def test_an_element_no_step_lays_is_worth_a_remark() -> None:
    job = ShotJob.model_validate(small_job(elements={"rain": RAIN}))
    findings = Findings({}, job.shot)
    check_elements(job, findings)

    assert [problem.what for problem in findings.problems] == [
        "no step of the recipe lays element rain"
    ]


@pytest.mark.parametrize(
    ("more", "field", "seen"),
    [
        ({"every": 0}, "elements.rain.every", "0"),
        ({"beyond": "stop"}, "elements.rain.beyond", '"stop"'),
        ({"softness": -2}, "elements.rain.softness", "-2"),
        ({"place": [{"frame": 1001, "x": 0}]}, "elements.rain.place.0.y", "nothing"),
        ({"speed": 2}, "elements.rain.speed", "speed"),
    ],
)
def test_a_job_that_says_so_is_refused_with_place_and_value(
    more: dict[str, Any], field: str, seen: str
) -> None:
    tree = small_job(elements={"rain": {**RAIN, **more}})
    tree["recipe"] = [*tree["recipe"], {"element": "rain"}]

    with pytest.raises(JobError) as refused:
        read_shot(tree)

    (problem,) = refused.value.problems
    assert (problem.place.field, problem.seen) == (field, seen)
    assert problem.expected


def test_a_step_or_holdout_that_names_nothing_is_refused() -> None:
    tree = small_job(elements={"rain": {**RAIN, "holdout": "pole"}})
    tree["recipe"] = [*tree["recipe"], {"element": "snow"}]

    with pytest.raises(JobError) as refused:
        read_shot(tree)

    told = {problem.place.field: problem.what for problem in refused.value.problems}
    assert told["elements.rain.holdout"] == "there is no matte called pole"
    assert "there is no element called snow" in told.values()
