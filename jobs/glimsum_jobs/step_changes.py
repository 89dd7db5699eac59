"""Changes to single steps of a recipe: gains, tints and cues, the step called by its name."""

from collections.abc import Iterable
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict

from glimsum_jobs.errors import JobError
from glimsum_jobs.job_changes import stops_words
from glimsum_jobs.problems import Place, Problem, Rank
from glimsum_jobs.recipe import Step
from glimsum_jobs.shot import ShotJob

StepField = Literal["stops", "tint_mired", "cues"]


class StepChange(BaseModel):
    """One change to one step."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    option: str
    """Where it was said, for messages: ``--stops``."""
    name: str
    """A pass, an insert or an element."""
    number: int | None = None
    """Which of the steps of that name, from 1."""
    field: StepField
    value: Any
    """Of stops and tints what the job takes; of cues ``{cue: 3, ...}`` with the fields that
    change, and ``{cue: 3, remove: True}``."""


def change_steps(job: ShotJob, changes: Iterable[StepChange]) -> list[dict[str, Any]]:
    """Return the recipe of a job with changes made to its steps.

    Parameters
    ----------
    job : ShotJob
        The job of an earlier version.
    changes : iterable of StepChange
        In the order they are made.

    Returns
    -------
    list of dict
        The whole recipe as a job file has it; what the values mean is checked with the job.

    Raises
    ------
    JobError
        With every change whose step can't be told, or whose cue is not there.
    """
    steps = job.steps
    recipe = [
        step.model_dump(mode="json", by_alias=True, exclude_none=True, exclude_defaults=True)
        for step in steps
    ]
    problems: list[Problem] = []
    for change in changes:
        place = _find(job, change)
        if isinstance(place, Problem):
            problems.append(place)
            continue
        if change.field == "cues":
            wrong = _change_cue(job, recipe[place], change)
            problems += [wrong] if wrong is not None else []
        else:
            recipe[place][change.field] = change.value
    if problems:
        raise JobError(f"the changes of shot {job.shot} can't be made", problems)
    return recipe


def find_step(job: ShotJob, change: StepChange) -> int:
    """Return the place in the recipe of the step a change is made to.

    Raises
    ------
    JobError
        There is none of that name, or several and it isn't said which.
    """
    place = _find(job, change)
    if isinstance(place, Problem):
        raise JobError(f"the changes of shot {job.shot} can't be made", [place])
    return place


def _find(job: ShotJob, change: StepChange) -> int | Problem:
    """Return the place of the step that is meant, or what to ask."""
    steps = job.steps
    found = [place for place, step in enumerate(steps) if change.name in _called(step)]
    if not found:
        known = sorted({name for step in steps for name in _called(step)})
        return _problem(
            job,
            change,
            what=f"no step of the recipe is called {change.name}",
            seen=change.name,
            expected=f"one of: {', '.join(known)}",
            remedy="Name a pass, an insert or an element of the recipe.",
        )
    if change.number is None and len(found) > 1:
        names = [f"{change.name}#{number}" for number in range(1, len(found) + 1)]
        told = [f"{n}: {_told(steps[p])}" for n, p in zip(names, found, strict=True)]
        return _problem(
            job,
            change,
            what=f"which step of {change.name} is meant?",
            seen=f"{len(found)} steps: {'; '.join(told)}",
            expected=f"one of: {', '.join(names)}",
            remedy=f"Write for example {change.option} {names[0]}=...",
        )
    number = change.number or 1
    if not 1 <= number <= len(found):
        return _problem(
            job,
            change,
            what=f"{change.name} has no step of that number",
            seen=f"#{number}",
            expected=f"#1 to #{len(found)}",
            remedy="Count the steps of that name from 1.",
        )
    return found[number - 1]


def _called(step: Step) -> tuple[str, ...]:
    return tuple(n for n in (step.pass_name, step.insert, step.element) if n is not None)


def _told(step: Step) -> str:
    parts = [f"stops {stops_words(step.stops)}"]
    parts += [f"matte {step.matte}"] if step.matte else []
    parts += [f"{len(step.cues)} cues"] if step.cues else []
    parts += [f"less {step.less}"] if step.less else []
    return ", ".join(parts)


def _change_cue(job: ShotJob, step: dict[str, Any], change: StepChange) -> Problem | None:
    told = dict(change.value)
    number = told["cue"]
    cues = [dict(cue) for cue in step.get("cues") or []]
    was = next((cue for cue in cues if cue["cue"] == number), None)
    others = [cue for cue in cues if cue is not was]
    if was is None and ("frame" not in told or told.get("remove")):
        known = ", ".join(f"{cue['cue']:g}" for cue in cues) or "none"
        return _problem(
            job,
            change,
            what=f"{change.name} has no cue {number:g}",
            seen=f"cues: {known}",
            expected="a cue that is there, or frame=... for a new one",
            remedy=f"Write for example {change.option} {change.name}={number:g},frame=1040.",
        )
    if not told.pop("remove", False):
        others.append({**(was or {}), **told})
    step["cues"] = sorted(others, key=lambda cue: (int(cue["frame"]), float(cue["cue"])))
    if not others:
        # Without any cue a step would burn all the time: it was dark but for its cues.
        del step["cues"]
        step["stops"] = "out"
    return None


def _problem(
    job: ShotJob, change: StepChange, *, what: str, seen: str, expected: str, remedy: str
) -> Problem:
    return Problem(
        rank=Rank.STOPS_SHOT,
        what=what,
        place=Place(shot=job.shot, field=change.option),
        seen=seen,
        expected=expected,
        remedy=remedy,
    )
