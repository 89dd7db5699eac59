"""The primary correction in a job: what is allowed, and what changes nothing."""

from typing import Any

import pytest
from pydantic import ValidationError

from glimsum_jobs.errors import JobError
from glimsum_jobs.picture import WholePicture
from glimsum_jobs.reading import read_shot
from unit.jobs.example_jobs import small_job


def test_nothing_said_changes_nothing_and_leaves_masters_alone() -> None:
    assert WholePicture().changes_nothing
    assert WholePicture(in_masters=True).changes_nothing
    assert not WholePicture().in_masters


@pytest.mark.parametrize(
    "told",
    [
        {"stops": 0.5},
        {"slope": [1.1, 1, 1]},
        {"offset": [0, 0, -0.01]},
        {"power": [1, 0.9, 1]},
        {"saturation": 0.8},
    ],
)
def test_each_number_changes_the_picture(told: dict[str, Any]) -> None:
    assert not WholePicture.model_validate(told).changes_nothing


# ASC CDL, version 1.2: slope 0 or more, power above 0, saturation 0 or more (from memory).
@pytest.mark.parametrize(
    ("field", "value", "told"),
    [
        ("stops", 25, "less than or equal to 24"),
        ("stops", "out", "number"),
        ("slope", [-0.1, 1, 1], "greater than or equal to 0"),
        ("slope", [1, 1], "3 items|Field required"),
        ("offset", [float("inf"), 0, 0], "finite|less than or equal to 16"),
        ("power", [0, 1, 1], "greater than or equal to 0.0156"),
        ("saturation", -1, "greater than or equal to 0"),
        ("in_masters", "perhaps", "boolean"),
    ],
)
def test_bad_values_are_refused(field: str, value: Any, told: str) -> None:
    with pytest.raises(ValidationError, match=told) as refused:
        WholePicture.model_validate({field: value})

    assert field in str(refused.value)


@pytest.mark.parametrize(
    ("told", "field", "what"),
    [
        ({"slope": [1, -0.5, 1]}, "picture.slope.1", "1 does not hold what it must"),
        ({"width": 3840}, "picture.width", "not yet: masters of another size than the passes"),
        ({"gamma": 2}, "picture.gamma", "gamma is not a field of this part of a job"),
    ],
)
def test_a_job_that_says_so_is_refused_with_its_place(
    told: dict[str, Any], field: str, what: str
) -> None:
    with pytest.raises(JobError) as refused:
        read_shot(small_job(picture=told))

    (problem,) = refused.value.problems
    assert (problem.place.field, problem.what) == (field, what)
