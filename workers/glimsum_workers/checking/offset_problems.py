"""What a person is asked or told about the start offset of a pass."""

from collections.abc import Callable, Iterator

import numpy as np

from glimsum_jobs.problems import Place, Problem, Rank
from glimsum_jobs.shot import ShotJob
from glimsum_workers.engine.sync.offset import LEAST_MARGIN, LOCKED, telling_frames
from glimsum_workers.engine.sync.pace import MOST_APART, place_frames
from glimsum_workers.engine.sync.search import Found

_BETWEEN = 0.3
"""Fraction of a frame above which a pass lies between two files."""


def ask_offset(job: ShotJob, name: str, offset: int, found: Found) -> Problem:
    """Return the question for a start offset that is not certain."""
    frames = ", ".join(str(frame) for frame in found.frames)
    return Problem(
        rank=Rank.STOPS_SHOT,
        what=f"with which file does pass {name} start?",
        place=_place(job, name),
        seen=f"best guess {offset}, {found.offset.margin:.1%} better than the next best, "
        f"on frames {frames}",
        expected=f"one offset that is at least {LEAST_MARGIN:.0%} better than others, "
        "on three frames or more",
        remedy=f"{found.offset.reason} Write start_offset: {offset} if that is so.",
    )


def remark_locked(job: ShotJob, name: str) -> Problem:
    """Return the remark on a pass of a locked camera."""
    return Problem(
        rank=Rank.REMARK,
        what=f"the start offset of pass {name} is taken as 0",
        place=_place(job, name),
        seen="start_offset: auto and a locked camera",
        expected="a camera that moves, or a whole number",
        remedy=LOCKED,
    )


def tell_breaks(
    job: ShotJob, name: str, found: Found, number: Callable[[int, int], int]
) -> Iterator[Problem]:
    """Name frames of a pass that are missing or there twice.

    `number` gives the file of a frame at an offset in steps.
    """
    for each in found.breaks:
        count = abs(each.frames)
        files = "file" if count == 1 else "files"
        first = number(each.frame - 1, each.before) + job.passes[name].step
        if each.frames > 0:
            what = f"pass {name} has {count} {files} too many before frame {each.frame}"
            remedy = (
                f"Look at the files about number {first}: write skip: [{first}] if that one was "
                "fired twice."
            )
        else:
            what = f"pass {name} lacks {count} {files} before frame {each.frame}"
            remedy = (
                f"Look at the files about number {first}: put the lost picture or its neighbour "
                "in its place and number the later ones on, or shoot the pass again."
            )
        yield Problem(
            rank=Rank.REMARK,
            what=what,
            place=_place(job, name).filled(frame=each.frame),
            seen=f"from this frame on its pictures lie {count} {files} "
            f"{'later' if each.frames > 0 else 'earlier'}",
            expected="one start offset for all frames",
            remedy=remedy,
        )


def tell_pace(job: ShotJob, name: str, found: Found) -> Iterator[Problem]:
    """Tell that a pass ran at another speed than the reference."""
    pace = found.pace
    if pace is None or pace.same_speed:
        return
    yield Problem(
        rank=Rank.REMARK,
        what=f"pass {name} ran at different speed",
        place=_place(job, name),
        seen=f"offset {pace.head:+.2f} frames at its head, {pace.tail:+.2f} at its tail",
        expected=f"{MOST_APART} frame apart at most",
        remedy=f"{pace.reason[0].upper()}{pace.reason[1:]}.",
    )


def tell_fraction(job: ShotJob, name: str, found: Found) -> Iterator[Problem]:
    """Tell that a pass lies between two files, so that neither shows what the reference shows."""
    if found.breaks or found.pace is None or not found.pace.same_speed:
        return
    table = {offset: list(row) for offset, row in found.scores.items()}
    placed = np.where(telling_frames(table), place_frames(table), np.nan)
    apart = float(np.nanmedian(placed)) - found.offset.offset
    if abs(apart) <= _BETWEEN:
        return
    yield Problem(
        rank=Rank.REMARK,
        what=f"pass {name} lies between two of its files",
        place=_place(job, name),
        seen=f"{apart:+.2f} frame from offset {found.offset.offset}",
        expected=f"{_BETWEEN} frame from a whole number at most",
        remedy="The nearer file is taken; what stands near the camera is off by the rest of its "
        "motion. Start rig and camera together next time.",
    )


def _place(job: ShotJob, name: str) -> Place:
    return Place(
        shot=job.shot,
        pass_name=name,
        file=job.passes[name].files,
        field=f"passes.{name}.start_offset",
    )
