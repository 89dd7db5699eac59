"""Steps changed by name, and what was changed told in words."""

from typing import Any

import pytest

from glimsum_jobs.errors import JobError
from glimsum_jobs.job_changes import LONGEST_VALUE, MOST_TOLD, tell_changes
from glimsum_jobs.shot import ShotJob
from glimsum_jobs.step_changes import StepChange, StepField, change_steps

LAMP = {"space": "lin_ap1_scene", "exposure": {"stops": 0}, "align": "none"}
RECIPE: list[dict[str, Any]] = [
    {"pass": "key", "tint_mired": -20},
    {"pass": "bulbs"},
    {"pass": "bulbs", "stops": -2, "matte": "window"},
    {"pass": "flash", "cues": [{"cue": 1, "frame": 5}, {"cue": 2, "frame": 9, "stops": -1}]},
]


def job(**changes: Any) -> ShotJob:
    tree = {
        "glimsum": 1, "shot": "mole", "rate": 24, "camera": "locked",
        "frames": {"first": 1, "last": 12}, "output": "out:mole", "recipe": RECIPE,
        "mattes": {"window": {"files": "plates:w.png"}},
        "passes": {n: {**LAMP, "files": f"plates:{n}/{n}.%04d.exr"}
                   for n in ("key", "bulbs", "flash")},
    }  # fmt: skip
    return ShotJob.model_validate({**tree, **changes})


def changed(
    name: str, value: Any, field: StepField = "stops", number: int | None = None
) -> ShotJob:
    change = StepChange(
        option="--stops", name=name, number=number, field=field, value=value
    )  # fmt: skip
    return job(recipe=change_steps(job(), [change]))


@pytest.mark.parametrize(
    ("after", "words"),
    [
        (changed("key", -0.5), "key -0.5 stops (was 0)"),
        (changed("key", "out"), "key out (was 0)"),
        (
            changed("key", [{"frame": 3, "value": "out"}, {"frame": 6, "value": 1}]),
            "key stops 3 out, 6 1 (was 0)",
        ),
        (changed("key", 15.0, "tint_mired"), "key tint +15 mired (was -20)"),
        (changed("key", 0.0, "tint_mired"), "key tint 0 mired (was -20)"),
        (changed("bulbs", -1.0, number=2), "bulbs#2 -1 stops (was -2)"),
        (changed("bulbs", 0.25, number=1), "bulbs#1 0.25 stops (was 0)"),
        (
            changed("flash", {"cue": 2, "frame": 10, "stops": -1.5}, "cues"),
            "flash cue 2 on 10 (was 9), stops -1.5 (was -1)",
        ),
        (changed("flash", {"cue": 3, "frame": 7}, "cues"), "flash cue 3 new, on 7, 0 stops"),
        (changed("flash", {"cue": 1, "remove": True}, "cues"), "flash cue 1 taken out"),
        (job(rate="25"), "rate 25 (was 24)"),
        (
            job(recipe=[*RECIPE, {"pass": "key", "stops": -3}]),
            "key#2 new in the recipe, -3 stops",
        ),
        (job(recipe=RECIPE[1:]), "key taken out of the recipe"),
        (
            job(recipe=[RECIPE[3], *RECIPE[:3]]),
            "order of the recipe: flash, key, bulbs#1, bulbs#2 (was key, bulbs#1, bulbs#2, flash)",
        ),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_each_change_is_told_in_words(after: ShotJob, words: str) -> None:
    assert tell_changes(job(), after) == (words,)


def test_equal_jobs_have_no_change_and_an_omitted_recipe_is_that_of_all_lamps() -> None:
    plain = [{"pass": name} for name in ("key", "bulbs", "flash")]
    assert tell_changes(job(), job()) == ()
    assert tell_changes(job(recipe=None), job(recipe=plain)) == ()
    change = StepChange(option="--stops", name="bulbs", field="stops", value=-1)
    assert [each.get("stops") for each in change_steps(job(recipe=None), [change])] == [
        None,
        -1,
        None,
    ]


def test_long_values_and_long_lists_are_cut_off_and_say_so() -> None:
    named = job(passes={**job().model_dump(by_alias=True)["passes"],
                        **{f"p{n}": {**LAMP, "files": f"plates:{'x' * 90}.exr"}
                           for n in range(60)}})  # fmt: skip
    told = tell_changes(job(passes={n: p for n, p in named.passes.items() if n[0] != "p"}), named)
    assert all(len(each) < LONGEST_VALUE * 3 for each in told)
    many = [{"pass": "key", "stops": n / 100} for n in range(250)]
    told = tell_changes(job(recipe=[{"pass": "key"}] * 250), job(recipe=many))
    assert len(told) == MOST_TOLD + 1
    assert told[-1] == "and 49 more"  # 249 steps differ: the first has 0 stops in both


def test_of_several_steps_it_is_asked_which_one_and_told_what_they_are() -> None:
    with pytest.raises(JobError) as refused:
        changed("bulbs", -1)

    (problem,) = refused.value.problems
    assert problem.what == "which step of bulbs is meant?"
    assert problem.seen == "2 steps: bulbs#1: stops 0; bulbs#2: stops -2, matte window"
    assert (problem.expected, problem.place.field) == ("one of: bulbs#1, bulbs#2", "--stops")


def test_all_wrong_names_are_told_at_once() -> None:
    changes = [
        StepChange(option="--stops", name="moon", field="stops", value=1),
        StepChange(option="--tint", name="key", number=2, field="tint_mired", value=1),
        StepChange(option="--cue", name="flash", field="cues", value={"cue": 7, "stops": 1}),
    ]
    with pytest.raises(JobError) as refused:
        change_steps(job(), changes)

    assert [problem.what for problem in refused.value.problems] == [
        "no step of the recipe is called moon",
        "key has no step of that number",
        "flash has no cue 7",
    ]
    assert refused.value.problems[2].seen == "cues: 1, 2"


def test_a_step_that_loses_its_last_cue_stays_dark() -> None:
    recipe = change_steps(
        job(),
        [
            StepChange(option="--cue", name="flash", field="cues", value={"cue": n, "remove": True})
            for n in (1, 2)
        ],
    )
    step = job(recipe=recipe).steps[3]
    assert (step.cues, step.gain(5), step.gain(6)) == (None, 0.0, 0.0)
