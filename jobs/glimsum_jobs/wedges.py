"""Wedges: graded trials of one or two values of a recipe, and the recipe each cell stands for."""

from collections.abc import Sequence
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from glimsum_jobs.errors import JobError
from glimsum_jobs.frame_ranges import FrameNumber
from glimsum_jobs.job_changes import step_names
from glimsum_jobs.keyframes import Keyframe
from glimsum_jobs.problems import Place, Problem, Rank
from glimsum_jobs.reading import read_shot
from glimsum_jobs.recipe import Step
from glimsum_jobs.shot import ShotJob
from glimsum_jobs.step_changes import StepChange, change_steps, find_step
from glimsum_jobs.varied import MOST_VARIED, Varied

OPTION = "--vary"


class _Frozen(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Cell(_Frozen):
    """One combination of values."""

    cell: int
    """From 1, row by row."""
    words: str
    """``practicals +0.5 stops, haze out``."""
    as_it_is: bool
    """Whether these are the values of the job."""
    changes: tuple[StepChange, ...]


class Wedge(_Frozen):
    """A sheet of trials: what was varied, and what each cell would change."""

    wedge: Literal[1] = 1
    """Version of this format."""
    shot: str
    job: str
    """The job file, as it was named; of a version of the service its run, ``mole_040/v003``."""
    version: int | None = None
    """The version it was made of; None: a job file."""
    recipe: tuple[dict[str, Any], ...]
    """The recipe the changes are made to."""
    frames: tuple[FrameNumber, ...]
    varied: Annotated[tuple[Varied, ...], Field(min_length=1, max_length=MOST_VARIED)]
    now: tuple[str, ...]
    """The varied values as they are in the job."""
    columns: int
    """Cells a row of the sheet."""
    sheet: str
    """Name of the picture, in the folder of this file."""
    width: int
    """Of each picture, pixels."""
    cells: tuple[Cell, ...]


def describe_wedge(  # noqa: PLR0917  # everything a sheet says of itself
    job: ShotJob,
    varied: Sequence[Varied],
    frames: Sequence[int],
    width: int,
    sheet: str,
    made_of: str,
    version: int | None = None,
) -> Wedge:
    """Return what stands beside a sheet; its last arguments as in `Wedge`.

    Raises
    ------
    JobError
        As `lay_out_cells`.
    """
    return Wedge(
        shot=job.shot,
        job=made_of,
        version=version,
        recipe=tuple(change_steps(job, ())),
        frames=tuple(frames),
        varied=tuple(varied),
        now=now_words(job, varied),
        columns=len(varied[0].values),
        sheet=sheet,
        width=width,
        cells=lay_out_cells(job, varied),
    )


def lay_out_cells(job: ShotJob, varied: Sequence[Varied]) -> tuple[Cell, ...]:
    """Return every combination of the values, the first varied value along a row.

    Raises
    ------
    JobError
        A step can't be told, has no such cue, is varied twice, or can't be varied so.
    """
    places = [_place(job, each) for each in varied]
    if len(set(places)) < len(places):
        raise _wrong(job, "the same value is varied twice", seen=_called(job, varied[0]),
                     expected="two different values", remedy="Vary it once, with all its values."
                     )  # fmt: skip
    columns = varied[0].values
    rows = varied[1].values if len(varied) > 1 else (None,)
    cells: list[Cell] = []
    for row in rows:
        for column in columns:
            pairs = [(varied[0], column), *([(varied[1], row)] if row is not None else [])]
            cells.append(
                Cell(
                    cell=len(cells) + 1,
                    words=", ".join(_words(job, each, value) for each, value in pairs),
                    as_it_is=all(value == _now(job, each) for each, value in pairs),
                    changes=tuple(_change(job, each, value) for each, value in pairs),
                )
            )
    return tuple(cells)


def now_words(job: ShotJob, varied: Sequence[Varied]) -> tuple[str, ...]:
    """Return the varied values as they are in the job, in words."""
    return tuple(_words(job, each, _now(job, each)) for each in varied)


def job_of_cell(job: ShotJob, cell: Cell) -> ShotJob:
    """Return the job with the values of a cell.

    Raises
    ------
    JobError
        A value is none the job could have.
    """
    tree = job.model_dump(mode="json", by_alias=True, exclude_none=True)
    return read_shot({**tree, "recipe": change_steps(job, cell.changes)})[0]


def measured_alike(job: ShotJob) -> tuple[Any, ...]:
    """Return what checking and measuring hang on in the gains of a recipe.

    Jobs that differ in gains and tints alone, and are equal here, are measured alike. Frames on
    which a pass is out are not looked at, and of a locked camera the frame its lamp burns most
    on is the one the others are compared with.
    """
    frames, steps = job.frames.numbers, job.steps
    told: list[Any] = []
    for name in job.passes:
        told.append(tuple(frame for frame in frames if job.looks_at(name, frame)))
        if job.camera == "locked":
            used = [step for step in steps if name in job.passes_in(step)]
            gains = [max((step.gain(frame) for step in used), default=1.0) for frame in frames]
            order = {gain: place for place, gain in enumerate(sorted(set(gains)))}
            told.append(tuple(order[gain] for gain in gains))
    told.append(tuple(tuple(step.shown(frame) for frame in frames) for step in steps))
    return tuple(told)


def _change(job: ShotJob, varied: Varied, value: float | str) -> StepChange:
    step = _step(job, varied)
    told: Any = value
    if varied.field == "cue":
        told = {"cue": varied.cue, "stops": value}
    elif varied.field == "stops" and isinstance(step.stops, tuple):
        told = [_moved(key, value) for key in step.stops]
    field = "cues" if varied.field == "cue" else varied.field
    return StepChange(
        option=OPTION, name=varied.name, number=varied.number, field=field, value=told
    )


def _moved(key: Keyframe, stops: float | str) -> dict[str, Any]:
    """Return a keyframe with stops added; a lamp that is out stays out, and one made out is."""
    if key.value == "out" or isinstance(stops, str):
        return {"frame": key.frame, "value": "out"}
    return {"frame": key.frame, "value": round(key.value + stops, 10)}


def _now(job: ShotJob, varied: Varied) -> float | str:
    step = _step(job, varied)
    if varied.field == "tint_mired":
        return step.tint_mired
    if varied.field == "cue":
        return next(cue.stops for cue in step.cues or () if cue.cue == varied.cue)
    return 0.0 if isinstance(step.stops, tuple) else step.stops


def _step(job: ShotJob, varied: Varied) -> Step:
    return job.steps[_at(job, varied)]


def _at(job: ShotJob, varied: Varied) -> int:
    """Return the place of a step in the recipe."""
    change = StepChange(option=OPTION, name=varied.name, number=varied.number, field="stops",
                        value=0)  # fmt: skip
    return find_step(job, change)


def _place(job: ShotJob, varied: Varied) -> tuple[Any, ...]:
    step = _step(job, varied)
    cues = [cue.cue for cue in step.cues or ()]
    if varied.field == "cue" and varied.cue not in cues:
        raise _wrong(
            job,
            f"{varied.name} has no cue {varied.cue:g}",
            seen=f"cues: {', '.join(f'{cue:g}' for cue in cues) or 'none'}",
            expected="a cue that is there",
            remedy=f"Name one of its cues: {OPTION} '{varied.name} cue 1=-1,0,1'.",
        )
    if varied.field != "stops" and "out" in varied.values:
        raise _wrong(job, f"{varied.name} can't be out by {varied.field}", seen="out",
                     expected="numbers", remedy=f"Write {OPTION} {varied.name}=out,0 instead."
                     )  # fmt: skip
    return _at(job, varied), varied.field, varied.cue


def _called(job: ShotJob, varied: Varied) -> str:
    """Return a step as people call it, numbered where several have its name."""
    return step_names(job.steps)[_at(job, varied)]


def _words(job: ShotJob, varied: Varied, value: float | str) -> str:
    name = _called(job, varied)
    if isinstance(value, str):
        return f"{name} out"
    number = f"{value:+.10g}" if value else "0"
    if varied.field == "tint_mired":
        return f"{name} tint {number} mired"
    if varied.field == "cue":
        return f"{name} cue {varied.cue:g} {number} stops"
    keyed = isinstance(_step(job, varied).stops, tuple)
    return f"{name} {number} stops{' on all keyframes' if keyed else ''}"


def _wrong(job: ShotJob, what: str, *, seen: str, expected: str, remedy: str) -> JobError:
    problem = Problem(
        rank=Rank.STOPS_SHOT,
        what=what,
        place=Place(shot=job.shot, field=OPTION),
        seen=seen,
        expected=expected,
        remedy=remedy,
    )
    return JobError(f"the wedge of shot {job.shot} can't be made", [problem])
