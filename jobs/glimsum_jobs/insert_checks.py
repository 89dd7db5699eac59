"""What a job says of its inserts that can't be meant, and what is worth a remark."""

from collections.abc import Sequence

from glimsum_jobs.colour import find_space
from glimsum_jobs.errors import GlimsumError
from glimsum_jobs.findings import Findings
from glimsum_jobs.inserts import CornerMark
from glimsum_jobs.problems import Rank
from glimsum_jobs.schema_problems import Path
from glimsum_jobs.shot import ShotJob

_LEAST_SINE = 1e-3


def check_inserts(job: ShotJob, findings: Findings) -> None:
    """Find inserts whose marks make no surface, or are on no frame, or that no step lays."""
    for name, insert in job.inserts.items():
        path: Path = ("inserts", name)
        try:
            find_space(insert.space)
        except GlimsumError as error:
            findings.add_error((*path, "space"), error)
        for index, mark in enumerate(insert.corners):
            _check_mark(job, (*path, "corners", index), mark, findings)
        if not any(step.insert == name for step in job.steps):
            findings.add(
                path,
                f"no step of the recipe lays insert {name}",
                seen="no step with it",
                expected=f"insert: {name} in a step",
                remedy="Add a step, or leave the insert out.",
                rank=Rank.REMARK,
            )


def _check_mark(job: ShotJob, path: Path, mark: CornerMark, findings: Findings) -> None:
    if mark.frame not in job.frames.numbers:
        findings.add(
            (*path, "frame"),
            "the corners of an insert are marked on a frame that is not in the shot",
            seen=f"frame {mark.frame}",
            expected=f"a frame from {job.frames.first} to {job.frames.last}",
            remedy="Mark them on a frame of the shot that shows the surface.",
        )
    fault = find_fault(mark.points)
    if fault:
        findings.add(
            (*path, "points"),
            f"the corners of an insert make no surface: {fault}",
            seen=", ".join(f"({x:g}, {y:g})" for x, y in mark.points),
            expected="top left, top right, bottom right, bottom left of the inserted picture",
            remedy="Mark the four corners in that order.",
        )


def find_fault(points: Sequence[tuple[float, float]]) -> str:
    """Return in words why four corners can't be a surface seen from the front; empty if they can.

    Every corner has to turn the same way (the outline has no dent and no crossing) by more than
    a thousandth of its sides.
    """
    turns = []
    for index, (x, y) in enumerate(points):
        (x0, y0), (x1, y1) = points[index - 1], points[(index + 1) % 4]
        before, after = (x - x0, y - y0), (x1 - x, y1 - y)
        lengths = (before[0] ** 2 + before[1] ** 2) ** 0.5 * (after[0] ** 2 + after[1] ** 2) ** 0.5
        if lengths == 0:
            return "two corners are the same point"
        turns.append((before[0] * after[1] - before[1] * after[0]) / lengths)
    if any(abs(turn) < _LEAST_SINE for turn in turns):
        return "three corners lie on a line"
    if all(turn > 0 for turn in turns) or all(turn < 0 for turn in turns):
        return ""
    crossing = sum(turn > 0 for turn in turns) == 2
    return "two of its sides cross" if crossing else "it has a dent"
