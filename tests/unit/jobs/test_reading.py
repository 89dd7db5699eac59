import json
from typing import Any

import pytest

from glimsum_jobs.errors import JobError
from glimsum_jobs.problems import Problem, Rank
from glimsum_jobs.reading import read_shot, shot_schema
from glimsum_jobs.shot import ShotJob
from unit.jobs.example_jobs import small_job


def problems_of(tree: object, positions: Any = None) -> list[Problem]:
    with pytest.raises(JobError) as caught:
        read_shot(tree, positions)
    return caught.value.problems


def only_problem(tree: object) -> Problem:
    problems = problems_of(tree)
    assert len(problems) == 1, [str(problem) for problem in problems]
    return problems[0]


def test_a_sound_job_is_read_with_its_defaults() -> None:
    job, remarks = read_shot(small_job())
    assert remarks == []
    assert job.unit_pass == "beauty"
    assert job.space == "lin_ap1_scene"
    assert [step.pass_name for step in job.steps] == ["beauty", "practicals"]


def test_without_a_recipe_every_lamp_pass_counts_once() -> None:
    tree = small_job()
    del tree["recipe"]
    job, remarks = read_shot(tree)
    assert [(s.pass_name, s.gain(1001)) for s in job.steps] == [("beauty", 1), ("practicals", 1)]
    assert [remark.seen for remark in remarks] == ["beauty, practicals"]


@pytest.mark.parametrize("name", ["matte", "silhouette", "reference"])
def test_without_a_recipe_a_backing_is_never_added_as_light(name: str) -> None:
    tree = small_job()
    del tree["recipe"]
    tree["passes"][name] = {**tree["passes"]["practicals"], "exposure": {"stops": 0}}
    job, remarks = read_shot(tree)
    assert name not in [step.pass_name for step in job.steps]
    assert remarks[0].seen == f"beauty, practicals; left out: {name}"


def test_a_job_survives_the_way_through_json() -> None:
    job, _ = read_shot(small_job())
    again = ShotJob.model_validate_json(job.model_dump_json(by_alias=True))
    assert again == job


def test_all_problems_come_at_once_with_their_places() -> None:
    tree = small_job(rate=0, camera="handheld", colour="red")
    tree["recipe"][1]["pass"] = "windows"
    positions = {("rate",): (3, 7), ("recipe", 1, "pass"): (30, 12)}

    problems = problems_of(tree, positions)

    assert {problem.place.field for problem in problems} == {
        "rate",
        "camera",
        "colour",
        "recipe.1.pass",
    }
    by_field = {problem.place.field: problem for problem in problems}
    assert (by_field["rate"].place.line, by_field["rate"].place.column) == (3, 7)
    assert by_field["camera"].seen == '"handheld"'
    assert by_field["camera"].expected == "'moving' or 'locked'"
    assert by_field["recipe.1.pass"].seen == "windows"
    assert by_field["recipe.1.pass"].expected == "beauty or leak or practicals"
    assert all(problem.remedy for problem in problems)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"recipe": [{"pass": "windows"}]}, "recipe.0.pass"),
        ({"recipe": [{"pass": "beauty", "matte": "windows"}]}, "recipe.0.matte"),
        ({"unit": "windows"}, "unit"),
        ({"mattes": {"set": {"pass": "windows", "empty": "leak"}}}, "mattes.set.pass"),
    ],
)
def test_a_name_that_stands_for_nothing_is_a_problem_and_no_accident(
    change: dict[str, Any], field: str
) -> None:
    problem = only_problem(small_job(**change))
    assert (problem.place.field, problem.seen) == (field, "windows")


def test_a_misspelt_field_is_refused_with_the_nearest_name() -> None:
    tree = small_job()
    tree["passes"]["beauty"]["exposre"] = {"stops": 1}
    problem = only_problem(tree)
    assert problem.seen == "exposre"
    assert problem.remedy.startswith("Did you mean exposure?")
    assert problem.place.pass_name == "beauty"


def test_a_misspelt_word_is_refused_with_the_nearest_and_the_other_form() -> None:
    tree = small_job()
    tree["passes"]["practicals"]["level"] = "stedy"

    problem = only_problem(tree)

    assert problem.expected == "'follow' or 'steady' or fields of its own, {NAME: VALUE}"
    assert problem.remedy.startswith("Did you mean steady? ")


def test_a_lamp_pass_without_exposure_is_asked_for_and_never_taken_as_0() -> None:
    tree = small_job()
    del tree["passes"]["practicals"]["exposure"]
    problem = only_problem(tree)
    assert problem.what == "how much light did pass practicals receive?"
    assert problem.rank is Rank.STOPS_SHOT


NOT_YET = [
    ({"masters": [{"format": "dpx"}]}, "masters.0.format", "masters other than exr"),
    ({"masters": [{}, {}]}, "masters.1", "more than one kind of master"),
    ({"viewing": {"movie": "prores"}}, "viewing.movie", "viewing movies other than h264"),
]


@pytest.mark.parametrize(("change", "field", "words"), NOT_YET)
def test_what_is_not_done_yet_is_refused_in_words(
    change: dict[str, Any], field: str, words: str
) -> None:
    problems = problems_of(small_job(**change))
    told = [problem for problem in problems if problem.what.startswith("not yet: ")]
    assert [problem.place.field for problem in told] == [field]
    assert words in told[0].what


NOT_YET_IN_A_PASS = [
    ({"brackets": []}, "brackets", "brackets"),
    ({"exposure": "metadata"}, "exposure", "exposure from metadata"),
    ({"white_balance": {"kelvin": 3200}}, "white_balance.kelvin", "white balance"),
    ({"files": [{"files": "a"}]}, "files", "pieces"),
    ({"first_timecode": "01:00:00:00"}, "first_timecode", "timecode"),
]


@pytest.mark.parametrize(("change", "field", "words"), NOT_YET_IN_A_PASS)
def test_what_a_pass_can_not_do_yet_is_refused_in_words(
    change: dict[str, Any], field: str, words: str
) -> None:
    tree = small_job()
    tree["passes"]["practicals"].update(change)
    problems = [p for p in problems_of(tree) if p.what.startswith("not yet: ")]
    assert [problem.place.field for problem in problems] == [f"passes.practicals.{field}"]
    assert words in problems[0].what


def test_an_unknown_space_is_refused_with_the_nearest() -> None:
    tree = small_job()
    tree["passes"]["practicals"]["space"] = "srgb_rec709_scen"
    problem = only_problem(tree)
    assert "srgb_rec709_scen" in problem.seen
    assert "srgb_rec709_scene" in problem.expected + problem.remedy


def test_a_log_space_is_no_working_space() -> None:
    problem = only_problem(small_job(space="ocio:acescct_ap1_scene"))
    assert problem.seen == "ocio:acescct_ap1_scene"
    assert "lin_ap1_scene" in problem.expected


def test_an_ambient_pass_must_say_so() -> None:
    tree = small_job()
    del tree["passes"]["leak"]["use"]
    tree["passes"]["leak"]["exposure"] = {"stops": 0}
    fields = {p.place.field for p in problems_of(tree)}
    assert fields == {"passes.beauty.ambient", "passes.practicals.ambient"}


def test_a_dark_of_another_exposure_time_is_refused_with_both() -> None:
    camera = {"seconds": 16, "f_number": 16, "iso": 100}
    tree = small_job()
    for name in ("beauty", "practicals", "leak"):
        tree["passes"][name]["exposure"] = camera
    tree["passes"]["practicals"]["dark"] = "dark_8s"
    tree["passes"]["dark_8s"] = {
        "files": "plates:dark/d.%04d.png",
        "space": "srgb_rec709_scene",
        "use": "dark",
        "exposure": {**camera, "seconds": 8},
    }
    problem = only_problem(tree)
    assert "differ in seconds" in problem.what
    assert "16" in problem.seen
    assert "8" in problem.seen


def test_a_fade_in_stops_can_not_reach_out() -> None:
    tree = small_job()
    tree["recipe"][1] = {
        "pass": "practicals",
        "fade": "stops",
        "stops": [{"frame": 1001, "value": 0}, {"frame": 1006, "value": "out"}],
    }
    problem = only_problem(tree)
    assert "frames 1001 to 1006" in problem.what


def test_keyframes_outside_the_shot_are_a_remark() -> None:
    tree = small_job()
    tree["recipe"][1]["stops"] = [{"frame": 990, "value": 0}, {"frame": 1003, "value": 1}]
    _, remarks = read_shot(tree)
    assert [(r.rank, r.seen) for r in remarks] == [(Rank.REMARK, "frames 990")]


def test_handles_must_leave_a_cut() -> None:
    problem = only_problem(small_job(handles={"head": 3, "tail": 3}))
    assert problem.seen == "3 + 3 handles"
    assert "6 frames" in problem.expected


@pytest.mark.parametrize("rate", [24, "24", "24000/1001", "30000/1001"])
def test_rates_of_film_and_video_are_read(rate: object) -> None:
    job, _ = read_shot(small_job(rate=rate))
    assert str(job.rate_fraction) == str(rate)


@pytest.mark.parametrize("rate", [23.976, "24/7", -24, 0, True])
def test_other_rates_are_refused(rate: object) -> None:
    assert only_problem(small_job(rate=rate)).place.field == "rate"


def test_the_schema_is_json_and_knows_every_field_of_a_job() -> None:
    schema = json.loads(json.dumps(shot_schema()))
    assert set(small_job()) <= set(schema["properties"])
    assert schema["additionalProperties"] is False


@pytest.mark.parametrize("tree", [None, [], "shot", 3])
def test_what_is_no_job_at_all_is_refused(tree: object) -> None:
    assert problems_of(tree)
