"""Cue sheets that can't be meant: cues outside the shot, twice, out of order; and their flashes."""

from collections.abc import Sequence
from itertools import pairwise

from glimsum_jobs.cues import Cue, Cues, cue_gain
from glimsum_jobs.findings import Findings
from glimsum_jobs.flash_limits import MOST_FLASHES, WorstSecond, leading_edges, worst_second
from glimsum_jobs.frame_ranges import runs_of
from glimsum_jobs.keyframes import Fade
from glimsum_jobs.problems import Rank
from glimsum_jobs.schema_problems import Path
from glimsum_jobs.shot import ShotJob

MOST_VALUES = 500_000
"""Gains looked at for a prediction, half a second's work."""


def check_cues(job: ShotJob, findings: Findings) -> None:
    """Find cues that can't be meant, and seconds in which the cues alone flash too often."""
    for index, step in enumerate(job.recipe or ()):
        if step.cues is not None:
            path: Path = ("recipe", index, "cues")
            _check_frames(job, path, step.cues, findings)
            _check_numbers(path, step.cues, findings)
            _check_order(path, step.cues, findings)
            if step.pass_name is None:
                _check_no_source(path, step.cues, step.label, findings)
    _tell_flashes(job, findings)


def _tell_flashes(job: ShotJob, findings: Findings) -> None:
    first = next((i for i, step in enumerate(job.recipe or ()) if step.cues is not None), None)
    if first is None:
        return
    path: Path = ("recipe", first, "cues")
    worst = predict_flashes(job)
    if worst is None:
        findings.add(
            path,
            "the cues are too many and too long for their flashes to be predicted",
            seen=f"{sum(len(step.cues or ()) for step in job.steps)} cues",
            expected=f"{MOST_VALUES} frames in all on which cues are up",
            remedy="Nothing to do: the finished viewing copy is measured.",
            rank=Rank.REMARK,
        )
    elif worst.flashes > MOST_FLASHES:
        findings.add(
            path,
            "the cues alone flash too often for people with photosensitive epilepsy",
            seen=f"{worst.flashes} flashes in one second, from frames {runs_of([*worst.frames])}",
            expected=f"{MOST_FLASHES} at most in any one second (WCAG 2.2, 2.3.1), unless they "
            "stay small or weak",
            remedy="Leave cues out or set them further apart; the finished viewing copy is "
            "measured.",
            rank=Rank.REMARK,
        )


def predict_flashes(job: ShotJob) -> WorstSecond | None:
    """Return the second with most flashes, judged from the gains of the cues alone.

    The light of all steps with cues is added, and its highest value on any frame taken for the
    brightest the screen can show: what the passes hold and how large it is nobody knows yet.
    None where more than `MOST_VALUES` would have to be looked at.
    """
    cued: list[tuple[Cues, Fade]] = [
        (step.cues, step.fade) for step in job.steps if step.cues is not None
    ]
    if sum(len(_up(cue, job)) for cues, _ in cued for cue in cues) > MOST_VALUES:
        return None
    light = [0.0] * job.frames.count
    for cues, fade in cued:
        mine: dict[int, float] = {}
        for cue in cues:
            for frame in _up(cue, job):
                mine[frame] = max(mine.get(frame, 0.0), cue_gain((cue,), frame, fade))
        for frame, gain in mine.items():
            light[frame - job.frames.first] += gain
    highest = max(light)
    if highest <= 0:
        return WorstSecond(0, ())
    edges = leading_edges([each / highest for each in light])
    worst = [
        worst_second([job.frames.first + at for at in each], job.rate_fraction) for each in edges
    ]
    return max(worst, key=lambda each: each.flashes)


def _up(cue: Cue, job: ShotJob) -> range:
    """Return the frames of the shot on which a cue is up."""
    first, last = cue.frame - cue.up, cue.frame + cue.down
    return range(max(first, job.frames.first), min(last, job.frames.last) + 1)


def _check_frames(job: ShotJob, path: Path, cues: Sequence[Cue], findings: Findings) -> None:
    frames = job.frames
    expected = f"{frames.first} to {frames.last}"
    for place, cue in enumerate(cues):
        if not frames.first <= cue.frame <= frames.last:
            findings.add(
                (*path, place, "frame"),
                f"cue {cue.number} lies outside the shot",
                seen=str(cue.frame),
                expected=expected,
                remedy="Correct its frame; for light that is up as the shot begins write "
                "keyframes in stops.",
            )
        if cue.source is None:
            continue
        if not frames.first <= cue.source <= frames.last:
            findings.add(
                (*path, place, "source"),
                f"cue {cue.number} takes its picture from a frame outside the shot",
                seen=str(cue.source),
                expected=expected,
                remedy="Name a frame of the shot, or leave source out.",
            )
        elif job.camera == "moving" and cue.source != cue.frame:
            findings.add(
                (*path, place, "source"),
                f"cue {cue.number} shows the picture of another frame, and the camera moves",
                seen=f"frame {cue.source} shown on frame {cue.frame}",
                expected="the place the camera had on the frame itself",
                remedy="Look at the frames of this cue; without source each shows its own.",
                rank=Rank.REMARK,
            )


def _check_no_source(path: Path, cues: Sequence[Cue], label: str, findings: Findings) -> None:
    for place, cue in enumerate(cues):
        if cue.source is not None:
            findings.add(
                (*path, place, "source"),
                f"cue {cue.number} of {label} takes the picture of another frame",
                seen=f"source: {cue.source}",
                expected="source only in a step with pass",
                remedy="Leave source out.",
            )


def _check_numbers(path: Path, cues: Sequence[Cue], findings: Findings) -> None:
    known: dict[float, Cue] = {}
    for place, cue in enumerate(cues):
        if cue.cue in known:
            findings.add(
                (*path, place, "cue"),
                f"two cues are numbered {cue.number}",
                seen=f"{cue.number} on frame {known[cue.cue].frame} and on frame {cue.frame}",
                expected="each number once in a step",
                remedy=f"Give one of them a number of its own, {_between(cue)} say.",
            )
        known.setdefault(cue.cue, cue)


def _between(cue: Cue) -> str:
    """Return a number between a cue and the next whole one."""
    return cue.model_copy(update={"cue": round(cue.cue + 0.5, 3)}).number


def _check_order(path: Path, cues: Sequence[Cue], findings: Findings) -> None:
    for place, (earlier, later) in enumerate(pairwise(cues), 1):
        if later.frame < earlier.frame:
            findings.add(
                (*path, place, "frame"),
                "the cues are not in the order of their frames",
                seen=f"cue {earlier.number} on frame {earlier.frame}, then cue {later.number} on "
                f"frame {later.frame}",
                expected="rising frames",
                remedy="Sort the sheet by frame, or correct the frame.",
            )
        elif later.cue < earlier.cue:
            findings.add(
                (*path, place, "cue"),
                "the cues are not in the order of their numbers",
                seen=f"cue {earlier.number} on frame {earlier.frame}, then cue {later.number} on "
                f"frame {later.frame}",
                expected="rising numbers, as people read a cue sheet",
                remedy="Nothing to do if that is meant.",
                rank=Rank.REMARK,
            )
