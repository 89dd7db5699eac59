"""The start offset of every pass that asks for it, found by holding it against the reference."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from glimsum_jobs.errors import GlimsumError, LeaseLost
from glimsum_jobs.measurements import FoundOffset
from glimsum_jobs.problems import Place, Problem, Rank
from glimsum_jobs.shot import ShotJob
from glimsum_workers.checking.offset_problems import (
    ask_offset,
    remark_locked,
    tell_breaks,
    tell_fraction,
    tell_pace,
)
from glimsum_workers.checking.pass_likeness import Likeness
from glimsum_workers.engine.sync.offset import LOCKED
from glimsum_workers.engine.sync.search import Found, choose_frames, search_offset
from glimsum_workers.frames.kept import Keep
from glimsum_workers.frames.roots import Roots

MOST_STEPS = 24
"""Steps to either side of 0 that are tried; a pass further away is stated as a number."""


@dataclass(frozen=True)
class Started:
    """Where a pass starts: an offset in files, how it was found, and what to say of it."""

    offset: int
    found: FoundOffset
    problems: tuple[Problem, ...] = ()


def find_start_offsets(
    job: ShotJob,
    roots: Roots,
    keep: Keep | None = None,
    still_wanted: Callable[[], object] = lambda: None,
) -> dict[str, Started]:
    """Find the start offset of every pass with ``start_offset: auto``.

    Parameters
    ----------
    job : ShotJob
        Every path in it is ``root:path``.
    roots : Roots
        Where this machine has the roots.
    keep : Keep, optional
        Where scores are kept.
    still_wanted : callable
        Asked before each picture that is read; what it raises ends the work.

    Returns
    -------
    dict of str to Started
        By pass. Where an offset is not certain the best guess stands, with a problem that stops
        the shot and asks; of a locked camera it is 0, with a remark.
    """
    started: dict[str, Started] = {}
    with Likeness(job, roots, keep, still_wanted) as likeness:
        for name, each in job.passes.items():
            if each.start_offset == "auto":
                started[name] = _start(job, name, likeness)
    return started


def _start(job: ShotJob, name: str, likeness: Likeness) -> Started:
    if job.camera == "locked":
        told = FoundOffset(margin=0.0, certain=False, reason=LOCKED)
        return Started(0, told, (remark_locked(job, name),))
    try:
        likeness.recall(name)
        return _search(job, name, likeness)
    except LeaseLost:
        raise
    except GlimsumError as error:
        known = Place(shot=job.shot, pass_name=name).model_dump(exclude_none=True)
        told = FoundOffset(margin=0.0, certain=False, reason=str(error))
        return Started(0, told, (error.problem(Rank.STOPS_SHOT, **known),))
    finally:
        likeness.remember(name)


def _search(job: ShotJob, name: str, likeness: Likeness) -> Started:
    reference, step = job.reference_pass, job.passes[name].step
    used = [frame for frame in job.frames.numbers if job.looks_at(name, frame)]
    if not used or likeness.source(name).numbers is None:
        # Nothing of it is used, or one still is held: any offset shows the same.
        return Started(0, FoundOffset(margin=1.0, certain=True))
    stated = job.passes[reference].stated_offset
    lit = [frame for frame in used if likeness.has(reference, frame, stated)] or used
    likely, possible = _candidates(job, name, lit, likeness)
    found = search_offset(
        lit,
        likely,
        possible,
        lambda frame, steps, whole: likeness.score(name, frame, steps * step, whole),
    )
    offset = found.offset.offset * step
    told = _as_found(found, step)
    if not found.offset.certain:
        return Started(offset, told, (ask_offset(job, name, offset, found),))
    problems = [
        *tell_breaks(job, name, found, lambda f, steps: likeness.number(name, f, steps * step)),
        *tell_pace(job, name, found),
        *tell_fraction(job, name, found),
    ]
    return Started(offset, told, tuple(problems))


def _candidates(
    job: ShotJob, name: str, lit: list[int], likeness: Likeness
) -> tuple[list[int], list[int]]:
    """Return the offsets in steps at which the pass covers the shot, and all that may be tried."""
    step, probes = job.passes[name].step, choose_frames(lit)

    def covered(frames: tuple[int, ...], steps: int) -> int:
        return sum(likeness.has(name, frame, steps * step) for frame in frames)

    reach = range(-MOST_STEPS, MOST_STEPS + 1)
    possible = [steps for steps in reach if covered(probes, steps) > len(probes) // 2]
    ends = (job.frames.first, job.frames.last)
    whole = [steps for steps in possible if covered(ends, steps) == len(ends)]
    if not whole:
        return possible or [0], possible
    wider = {whole[0] - 1, *whole, whole[-1] + 1}
    return sorted(wider & set(possible)), possible


def _as_found(found: Found, step: int) -> FoundOffset:
    pace = found.pace
    return FoundOffset(
        margin=round(found.offset.margin, 4),
        certain=found.offset.certain,
        reason=found.offset.reason,
        frames=found.frames,
        scores={
            steps * step: tuple(round(each, 4) if np.isfinite(each) else None for each in row)
            for steps, row in found.scores.items()
        },
        head=None if pace is None else round(pace.head * step, 3),
        tail=None if pace is None else round(pace.tail * step, 3),
    )
