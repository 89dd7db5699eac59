"""Which frames a change touches and what it asks to be measured, told from two jobs alone.

A worker decides by digests of files and measurements. This is what can be said before anything
is read: it may call a frame touched that comes out the same, never the other way round while the
files stay as they are.
"""

import json
from collections.abc import Iterator
from functools import cache
from typing import Any

from pydantic import BaseModel

from glimsum_jobs.errors import JobError
from glimsum_jobs.frame_ranges import runs_of
from glimsum_jobs.measurements import Checked
from glimsum_jobs.passes import Pass
from glimsum_jobs.plan import AVERAGE, best_frame, hold_frame, measure_items
from glimsum_jobs.recipe import Step
from glimsum_jobs.settled import settled
from glimsum_jobs.shot import ShotJob


class FrameKeys:
    """Gives for each frame of a job a key that is another wherever its master may be another.

    Parameters
    ----------
    job : ShotJob
        The job.
    checked : Checked, optional
        What its check found; without it every frame of a locked shot hangs on the whole recipe.
    """

    def __init__(self, job: ShotJob, checked: Checked | None) -> None:
        self._job = job
        self._checked = checked
        self._pass = cache(self._pass_text)
        self._still = [self._step_text(step) for step in job.steps]
        picture = job.picture if job.picture.in_masters else None
        self._whole = _text(
            job.space, job.rate, job.edges, job.masters, job.frames.first, picture,
            job.reference_pass, job.passes[job.reference_pass],
        )  # fmt: skip

    def key(self, frame: int) -> tuple[Any, ...]:
        """Return the key of a frame."""
        return self._whole, *self._steps(frame)

    def _steps(self, frame: int) -> Iterator[tuple[Any, ...]]:
        for step, still in zip(self._job.steps, self._still, strict=True):
            gain = step.gain(frame)
            plain = step.pass_name is not None and step.operator == "plus" and step.matte is None
            yield ("out",) if gain == 0 and plain else (gain, step.shown(frame), still)

    def _step_text(self, step: Step) -> str:
        job = self._job
        mattes = job.mattes_in(step)
        passes = [*job.passes_in(step), *job.passes_behind(step)]
        told = step.model_dump(mode="json", exclude={"stops", "cues", "fade"})
        if not step.tint_mired:
            told["lamp_kelvin"] = None
        made = job.model_dump(mode="json", include={"inserts", "elements", "takes"})
        return _text(
            told,
            [job.mattes[name] for name in mattes],
            [self._pass(name) for name in passes],
            {} if step.pass_name is not None and not job.takes else made,
        )

    def _pass_text(self, name: str) -> str:
        job, each = self._job, self._job.passes[name]
        return _text(
            name,
            each,
            [job.passes[other] for other in _taken_away(job, each)],
            job.passes[job.unit_pass].exposure,
            self._place(name) if each.align != "none" else None,
            [job.camera, job.frames] if each.is_steady or each.align != "none" else None,
        )

    def _place(self, name: str) -> list[Any]:
        """Return what the place of a pass hangs on besides the pass."""
        looked = [frame for frame in self._job.frames.numbers if self._job.looks_at(name, frame)]
        return [runs_of(looked), *_held(self._job, self._checked, name)]


def measured_anew(before: ShotJob, after: ShotJob, checked: Checked | None) -> list[str] | None:
    """Return the items of measuring that no earlier version has kept; None where unknown.

    Parameters
    ----------
    before, after : ShotJob
        The job of an earlier version that was measured, and the changed one.
    checked : Checked or None
        What the check of `before` found.
    """
    if checked is None or not after.passes.keys() <= checked.passes.keys():
        return None
    try:
        old, new = settled(before, checked), settled(after, checked)
    except JobError:
        return None
    known = {(item, _item_text(old, checked, item)) for item in measure_items(old, checked)}
    items = measure_items(new, checked)
    return [item for item in items if (item, _item_text(new, checked, item)) not in known]


def _item_text(job: ShotJob, checked: Checked, item: str) -> str:
    kind, _, name = item.partition(":")
    name = name.partition(":")[0]
    each = job.passes.get(name)
    if each is None:  # a patch of the reference that is followed
        rest = job.model_dump(mode="json", include={"mattes", "inserts", "elements"})
        return _text(rest, job.passes[job.reference_pass])
    if kind == AVERAGE:
        return _text(each)
    unit, reference = job.passes[job.unit_pass].exposure, job.passes[job.reference_pass]
    return _text(each, reference, unit, job.space, job.camera, job.frames.first,
                 _held(job, checked, name))  # fmt: skip


def _held(job: ShotJob, checked: Checked | None, name: str) -> list[Any]:
    """Return the frames a pass of a locked shot is laid on, or the whole recipe if unknown."""
    if job.camera != "locked":
        return []
    if checked is None:
        return [step.model_dump(mode="json") for step in job.steps]
    return [hold_frame(job, checked), best_frame(job, checked, name)]


def _taken_away(job: ShotJob, each: Pass) -> list[str]:
    names = [other for other in (each.dark, each.ambient) if isinstance(other, str)]
    behind = job.passes[each.ambient].dark if each.ambient is not None else None
    return [*names, behind] if isinstance(behind, str) else names


def _text(*values: Any) -> str:
    return json.dumps(values, default=_plain, sort_keys=True)


def _plain(value: object) -> Any:
    if isinstance(value, BaseModel):
        return value.model_dump(mode="json")
    return list(value)  # type: ignore[call-overload]  # tuples and sets of a job's values
