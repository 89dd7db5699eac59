"""What was changed between two jobs of a shot, in words for whoever reads the next version."""

import json
from collections import Counter
from collections.abc import Iterator, Mapping
from difflib import SequenceMatcher
from typing import Any

from glimsum_jobs.cues import Cue
from glimsum_jobs.keyframes import Keyframe
from glimsum_jobs.recipe import Step
from glimsum_jobs.shot import ShotJob

MOST_TOLD = 200
LONGEST_VALUE = 60
"""Letters of a value that is told; longer ones are cut off and say so."""
MOST_KEYS = 8

_NONE = "none"


def tell_changes(before: ShotJob, after: ShotJob) -> tuple[str, ...]:
    """Return what differs between two jobs, one line a change, the recipe first.

    Parameters
    ----------
    before, after : ShotJob
        Jobs of one shot.

    Returns
    -------
    tuple of str
        Each as ``practicals -0.5 stops (was 0)``; none where the jobs are equal. A step that is
        there several times is called by its name and place among its like: ``practicals#2``.
    """
    told = [*_recipe(before.steps, after.steps), *_fields("", _tree(before), _tree(after))]
    rest = len(told) - MOST_TOLD
    return (*told[:MOST_TOLD], *([f"and {rest} more"] if rest > 0 else []))


def step_names(steps: tuple[Step, ...]) -> list[str]:
    """Return how each step is called: its label, numbered where several have it."""
    count = Counter(step.label for step in steps)
    seen: Counter[str] = Counter()
    names = []
    for step in steps:
        seen[step.label] += 1
        names.append(f"{step.label}#{seen[step.label]}" if count[step.label] > 1 else step.label)
    return names


def stops_words(stops: float | str | tuple[Keyframe, ...]) -> str:
    """Return stops as they are typed: ``-0.5``, ``out``, ``1003 out, 1006 1``."""
    if not isinstance(stops, tuple):
        return _number(stops)
    keys = ", ".join(f"{key.frame} {_number(key.value)}" for key in stops[:MOST_KEYS])
    return keys if len(stops) <= MOST_KEYS else f"{keys} and so on, {len(stops)} keyframes"


def _recipe(before: tuple[Step, ...], after: tuple[Step, ...]) -> Iterator[str]:
    old, new = step_names(before), step_names(after)
    if sorted(old) == sorted(new):
        by_name = dict(zip(old, before, strict=True))
        for name, step in zip(new, after, strict=True):
            yield from _step(name, by_name[name], step)
        if old != new:
            yield f"order of the recipe: {_cut(', '.join(new))} (was {_cut(', '.join(old))})"
        return
    labels = [step.label for step in before], [step.label for step in after]
    for kind, a, b, c, d in SequenceMatcher(None, *labels, autojunk=False).get_opcodes():
        if kind == "equal":
            for one, other in zip(range(a, b), range(c, d), strict=True):
                yield from _step(new[other], before[one], after[other])
            continue
        for place in range(a, b):
            yield f"{old[place]} taken out of the recipe"
        for place in range(c, d):
            yield f"{new[place]} new in the recipe, {_gain(after[place])}"


def _step(name: str, before: Step, after: Step) -> Iterator[str]:
    if before.stops != after.stops:
        yield f"{name} {_gain(after)} (was {stops_words(before.stops)})"
    yield from _cues(name, before.cues or (), after.cues or ())
    tint = before.tint_mired, after.tint_mired
    if tint[0] != tint[1]:
        yield f"{name} tint {_signed(tint[1])} mired (was {_signed(tint[0])})"
    if before.lamp_kelvin != after.lamp_kelvin:
        yield f"{name} lamp {after.lamp_kelvin:g} K (was {before.lamp_kelvin:g})"
    for field in ("matte", "operator", "fade"):
        old, new = getattr(before, field), getattr(after, field)
        if old != new:
            yield f"{name} {field} {new or _NONE} (was {old or _NONE})"


def _gain(step: Step) -> str:
    if step.stops == "out":
        return "out"
    words = stops_words(step.stops)
    return f"stops {words}" if isinstance(step.stops, tuple) else f"{words} stops"


def _cues(name: str, before: tuple[Cue, ...], after: tuple[Cue, ...]) -> Iterator[str]:
    old, new = {cue.cue: cue for cue in before}, {cue.cue: cue for cue in after}
    for number in sorted(old.keys() | new.keys()):
        cue, was = new.get(number), old.get(number)
        if cue is None and was is not None:
            yield f"{name} cue {was.number} taken out"
        elif cue is not None and was is None:
            yield f"{name} cue {cue.number} new, on {cue.frame}, {_number(cue.stops)} stops"
        elif cue is not None and was is not None and cue != was:
            fields = (("on", "frame"), ("stops", "stops"), ("up", "up"), ("down", "down"),
                      ("picture of", "source"))  # fmt: skip
            changed = [
                f"{words} {_number(getattr(cue, field))} (was {_number(getattr(was, field))})"
                for words, field in fields
                if getattr(cue, field) != getattr(was, field)
            ]
            yield f"{name} cue {cue.number} {', '.join(changed)}"


def _tree(job: ShotJob) -> dict[str, Any]:
    return job.model_dump(mode="json", by_alias=True, exclude_none=True, exclude={"recipe"})


def _fields(path: str, before: object, after: object) -> Iterator[str]:
    """Tell every other field by its path in the job."""
    if before == after:
        return
    if isinstance(before, Mapping) and isinstance(after, Mapping):
        for name in [*before, *(name for name in after if name not in before)]:
            inner = f"{path}.{name}" if path else str(name)
            yield from _fields(inner, before.get(name), after.get(name))
        return
    yield f"{path} {_value(after)} (was {_value(before)})"


def _value(value: object) -> str:
    if value is None:
        return _NONE
    if isinstance(value, str):
        return _cut(value)
    return _cut(json.dumps(value, ensure_ascii=False))


def _cut(text: str) -> str:
    return (
        text if len(text) <= LONGEST_VALUE else f"{text[:LONGEST_VALUE]}... ({len(text)} letters)"
    )


def _number(value: float | str | None) -> str:
    if value is None:
        return _NONE
    return value if isinstance(value, str) else f"{value:.10g}"


def _signed(value: float) -> str:
    return f"{value:+.10g}" if value else "0"
