"""A start offset is a whole number, or found by the check; where it can't be, the job says so."""

from typing import Any

import pytest

from glimsum_jobs.errors import JobError
from glimsum_jobs.measurements import Checked, FoundPass
from glimsum_jobs.problems import Problem
from glimsum_jobs.reading import read_shot, shot_schema
from glimsum_jobs.settled import settled
from glimsum_jobs.shot import ShotJob
from unit.jobs.example_jobs import small_job


def tree(**offsets: object) -> dict[str, Any]:
    job = small_job(camera="moving")
    for name, offset in offsets.items():
        job["passes"][name]["start_offset"] = offset
    return job


def read(**offsets: object) -> ShotJob:
    return read_shot(tree(**offsets))[0]


def problem_of(job: dict[str, Any]) -> Problem:
    with pytest.raises(JobError) as caught:
        read_shot(job)
    assert len(caught.value.problems) == 1
    return caught.value.problems[0]


def checked(**offsets: int) -> Checked:
    passes = {
        name: FoundPass(first=1, start_offset=offset, width=8, height=8, count=6, covers=True)
        for name, offset in offsets.items()
    }
    return Checked(passes=passes, mattes={}, problems=(), needed_bytes=0, free_bytes=1)


def test_behind_the_check_an_offset_that_was_found_is_a_number() -> None:
    job = settled(read(practicals="auto"), checked(beauty=0, practicals=3))

    assert job.passes["practicals"].start_offset == 3
    # By hand: first + (frame - first frame of the shot) + start_offset = 12 + 2 + 3.
    assert job.passes["practicals"].number(1003, shot_first=1001, first=12) == 17
    assert job == read(practicals=3)


def test_a_stated_offset_stays_as_stated() -> None:
    job = read(practicals=2)

    assert settled(job, checked()) is job


def test_an_offset_that_was_not_found_is_named_with_its_pass() -> None:
    with pytest.raises(
        JobError, match=r"pass practicals was not found.*passes\.practicals\.start_offset"
    ):
        settled(read(practicals="auto"), checked(beauty=0))


def test_an_offset_to_be_found_has_no_file_numbers() -> None:
    with pytest.raises(ValueError, match="until the check has found it"):
        read(practicals="auto").passes["practicals"].number(1001, shot_first=1001, first=1)


def test_the_reference_has_no_offset_to_be_found() -> None:
    problem = problem_of(tree(beauty="auto"))

    assert problem.what == "the start offset of pass beauty can't be found"
    assert problem.place.field == "passes.beauty.start_offset"
    assert problem.place.pass_name == "beauty"
    assert problem.seen == "start_offset: auto"
    assert "the other passes are held against this one" in problem.expected


def test_a_pass_without_lamps_shows_too_little_to_find_its_offset() -> None:
    problem = problem_of(tree(leak="auto"))

    assert problem.place.pass_name == "leak"
    assert "a whole number" in problem.expected
    assert "State start_offset" in problem.remedy


@pytest.mark.parametrize("use", ["dark", "empty_backing"])
def test_a_pass_that_is_averaged_needs_no_offset(use: str) -> None:
    job = tree()
    job["passes"]["even"] = {**job["passes"]["leak"], "use": use, "start_offset": "auto"}

    problem = problem_of(job)

    assert problem.place.pass_name == "even"
    assert f"use: {use} are averaged" in problem.expected


@pytest.mark.parametrize("value", [1.5, "soon", True, None])
def test_any_other_offset_is_refused_with_what_may_stand_there(value: object) -> None:
    problem = problem_of(tree(practicals=value))

    assert problem.place.field == "passes.practicals.start_offset"
    assert "integer" in problem.expected
    assert "auto" in problem.expected


def test_the_schema_shows_that_an_offset_may_be_found() -> None:
    offset = shot_schema()["$defs"]["Pass"]["properties"]["start_offset"]

    kinds = [{each.get("type"), each.get("const")} for each in offset["anyOf"]]
    assert kinds == [{"integer", None}, {"string", "auto"}]
