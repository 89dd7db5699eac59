from typing import Any

import pytest
from pydantic import ValidationError

from glimsum_jobs.recipe import Step
from unit.jobs.example_jobs import small_job
from unit.jobs.test_reading import only_problem


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ({}, "exactly one of pass, insert and element"),
        ({"pass": "key", "insert": "board"}, "exactly one of pass, insert and element"),
        ({"element": "rain", "less": "key"}, "less only beside pass"),
    ],
)
def test_a_step_lays_on_one_thing(words: dict[str, Any], told: str) -> None:
    with pytest.raises(ValidationError, match=told):
        Step.model_validate(words)


def test_a_step_is_called_by_what_it_lays_on() -> None:
    steps = [{"pass": "haze"}, {"pass": "haze", "less": "key"}, {"insert": "a"}, {"element": "b"}]
    labels = [Step.model_validate(step).label for step in steps]
    assert labels == ["haze", "haze less key", "insert a", "element b"]


def test_a_pass_taken_away_must_be_there() -> None:
    tree = small_job()
    tree["recipe"][1]["less"] = "fog"
    problem = only_problem(tree)
    assert (problem.place.field, problem.seen) == ("recipe.1.less", "fog")


def test_a_dark_is_no_light_to_take_away() -> None:
    tree = small_job()
    tree["passes"]["cap"] = {
        "files": "cap.png",
        "space": "srgb_rec709_scene",
        "use": "dark",
        "exposure": {"stops": 0},
    }
    tree["recipe"][1]["less"] = "cap"
    problem = only_problem(tree)
    assert (problem.place.field, problem.seen) == ("recipe.1.less", "cap")
    assert "holds no light" in problem.what
