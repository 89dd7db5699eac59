"""Which recipe each cell of a wedge stands for."""

from typing import Any

import pytest

from glimsum_jobs.errors import JobError
from glimsum_jobs.shot import ShotJob
from glimsum_jobs.varied import Varied
from glimsum_jobs.wedges import job_of_cell, lay_out_cells, measured_alike, now_words
from support.small_shots import exr_pass, small_shot

RECIPE: list[dict[str, Any]] = [
    {"pass": "key", "tint_mired": -20},
    {"pass": "bulbs", "stops": 0.5},
    {"pass": "bulbs", "stops": [{"frame": 1001, "value": "out"}, {"frame": 1003, "value": 0.33}]},
    {"pass": "flash", "cues": [{"cue": 1, "frame": 1002, "stops": 1}, {"cue": 2, "frame": 1003}]},
]


@pytest.fixture
def job() -> ShotJob:
    passes = {name: exr_pass(name) for name in ("key", "bulbs", "flash")}
    return small_shot(passes=passes, recipe=RECIPE)


def varied(name: str, *values: Any, **more: Any) -> Varied:
    return Varied(name=name, values=values, **more)


def test_cells_are_every_combination_the_first_value_along_a_row(job: ShotJob) -> None:
    cells = lay_out_cells(
        job, [varied("key", -1, 0), varied("key", -20, 0, 20, field="tint_mired")]
    )

    assert [each.cell for each in cells] == [1, 2, 3, 4, 5, 6]
    assert [each.words for each in cells][:3] == [
        "key -1 stops, key tint -20 mired",
        "key 0 stops, key tint -20 mired",
        "key -1 stops, key tint 0 mired",
    ]
    assert [each.cell for each in cells if each.as_it_is] == [2]
    steps = [job_of_cell(job, each).steps for each in cells]
    assert [(step[0].stops, step[0].tint_mired) for step in steps] == [
        (-1, -20), (0, -20), (-1, 0), (0, 0), (-1, 20), (0, 20)
    ]  # fmt: skip
    assert all(step[1:] == job.steps[1:] for step in steps)


def test_keyframes_move_together_and_a_lamp_that_is_out_stays_out(job: ShotJob) -> None:
    cells = lay_out_cells(job, [varied("bulbs", -1, 0, "out", number=2)])

    moved = [job_of_cell(job, each).steps[2].stops for each in cells]
    assert [[key.value for key in stops] for stops in moved if isinstance(stops, tuple)] == [
        ["out", -0.67],
        ["out", 0.33],
        ["out", "out"],
    ]
    assert [each.words for each in cells] == [
        "bulbs#2 -1 stops on all keyframes",
        "bulbs#2 0 stops on all keyframes",
        "bulbs#2 out",
    ]
    assert [each.as_it_is for each in cells] == [False, True, False]


def test_the_stops_of_one_cue_are_varied_alone(job: ShotJob) -> None:
    flash = varied("flash", -0.5, 1, field="cue", cue=1)
    cells = lay_out_cells(job, [flash])

    assert [each.words for each in cells] == ["flash cue 1 -0.5 stops", "flash cue 1 +1 stops"]
    assert [each.as_it_is for each in cells] == [False, True]
    assert [cue.stops for cue in job_of_cell(job, cells[0]).steps[3].cues or ()] == [-0.5, 0]
    assert now_words(job, [flash]) == ("flash cue 1 +1 stops",)


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ([varied("fog", 1)], "no step of the recipe is called fog"),
        ([varied("bulbs", 1)], "which step of bulbs is meant?"),
        ([varied("bulbs", 1, number=3)], "bulbs has no step of that number"),
        ([varied("flash", 1, field="cue", cue=7)], "flash has no cue 7"),
        ([varied("key", "out", field="tint_mired")], "key can't be out by tint_mired"),
        ([varied("key", 1), varied("key", 2, number=1)], "the same value is varied twice"),
    ],
)
def test_what_can_t_be_varied_is_refused_with_its_place(
    job: ShotJob, asked: list[Varied], words: str
) -> None:
    with pytest.raises(JobError) as caught:
        lay_out_cells(job, asked)

    (problem,) = caught.value.problems
    assert (problem.what, problem.place.shot, problem.place.field) == (words, "small", "--vary")


def test_a_value_no_job_could_have_is_refused_as_in_a_job(job: ShotJob) -> None:
    (cell,) = lay_out_cells(job, [varied("key", 900, field="tint_mired")])

    with pytest.raises(JobError) as caught:
        job_of_cell(job, cell)

    (problem,) = caught.value.problems
    assert (problem.place.field, problem.seen) == ("recipe.0.tint_mired", "900.0")


@pytest.mark.parametrize("camera", ["moving", "locked"])
def test_gains_that_no_measurement_hangs_on_are_measured_alike(camera: str) -> None:
    job = small_shot(
        camera=camera,
        passes={name: exr_pass(name, align="shift") for name in ("key", "bulbs", "flash")},
        recipe=RECIPE,
    )

    def alike(*asked: Varied) -> bool:
        return measured_alike(job_of_cell(job, lay_out_cells(job, asked)[0])) == measured_alike(job)

    assert alike(varied("key", -2), varied("bulbs", 3, number=1))
    assert alike(varied("key", 50, field="tint_mired"))
    # A lamp that is out on a frame is not looked at there.
    assert not alike(varied("key", "out"), varied("flash", "out"))
    # A locked camera: the frame a lamp burns most on holds all others of its pass.
    assert alike(varied("flash", -3, field="cue", cue=1)) == (camera == "moving")
