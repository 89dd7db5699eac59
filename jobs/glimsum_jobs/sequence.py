"""A sequence: shots with shared defaults, submitted together."""

from collections.abc import Mapping
from typing import Any

from glimsum_jobs.errors import JobError
from glimsum_jobs.problems import Problem, Rank
from glimsum_jobs.reading import read_shot
from glimsum_jobs.schema_problems import Path, Positions, place_of, show
from glimsum_jobs.shot import ShotJob

MAX_SHOTS = 500


def is_sequence(tree: object) -> bool:
    """Return whether a raw tree is a sequence file and not a single shot job."""
    return isinstance(tree, Mapping) and "sequence" in tree


def read_sequence(
    tree: Mapping[str, Any], positions: Positions | None = None
) -> tuple[str, list[ShotJob], list[Problem]]:
    """Read a sequence file.

    Parameters
    ----------
    tree : mapping
        ``{glimsum: 1, sequence: NAME, defaults: {...}, shots: [{...}, ...]}``; each shot is a
        shot job in which what the defaults say may be left out. Mappings are joined field by
        field, everything else a shot states replaces the default.
    positions : mapping of path to (line, column), optional
        Where each value stands in the file.

    Returns
    -------
    name : str
        Name of the sequence.
    jobs : list of ShotJob
        In the order of the file.
    remarks : list of Problem
        What is worth knowing and stops nothing.

    Raises
    ------
    JobError
        With the problems of all shots.
    """
    where: Positions = positions or {}
    problems = _frame_problems(tree, where)
    jobs: list[ShotJob] = []
    remarks: list[Problem] = []
    shots = tree.get("shots")
    defaults = tree.get("defaults") or {}
    for index, shot in enumerate(shots if isinstance(shots, list) else []):
        merged = _joined(defaults, shot)
        if isinstance(merged, dict):
            merged.setdefault("glimsum", tree.get("glimsum"))
        try:
            job, notes = read_shot(merged, _positions_of(index, where))
        except JobError as error:
            problems += error.problems
        else:
            jobs.append(job)
            remarks += notes
    names = [job.shot for job in jobs]
    for name in sorted({name for name in names if names.count(name) > 1}):
        problems.append(_problem(("shots",), where, "a shot stands twice", name, "each shot once"))
    if problems:
        raise JobError(f"the sequence {tree.get('sequence')} can't be used", problems)
    return str(tree["sequence"]), jobs, remarks


def _frame_problems(tree: Mapping[str, Any], where: Positions) -> list[Problem]:
    problems = []
    for field in tree:
        if field not in ("glimsum", "sequence", "defaults", "shots"):
            words = "glimsum, sequence, defaults, shots"
            problems.append(_problem((field,), where, "no field of a sequence", field, words))
    if not isinstance(tree.get("sequence"), str) or not tree["sequence"]:
        seen = show(tree.get("sequence"))
        problems.append(_problem(("sequence",), where, "a sequence has a name", seen, "text"))
    if not isinstance(tree.get("defaults", {}), Mapping):
        seen = show(tree["defaults"])
        problems.append(_problem(("defaults",), where, "defaults hold fields", seen, "fields"))
    shots = tree.get("shots")
    if not isinstance(shots, list) or not 1 <= len(shots) <= MAX_SHOTS:
        seen = f"{len(shots)} shots" if isinstance(shots, list) else show(shots)
        words = f"a list of 1 to {MAX_SHOTS} shots"
        problems.append(_problem(("shots",), where, "a sequence lists its shots", seen, words))
    return problems


def _problem(path: Path, where: Positions, what: str, seen: str, expected: str) -> Problem:
    return Problem(
        rank=Rank.STOPS_SHOT,
        what=what,
        place=place_of(path, where, None),
        seen=seen,
        expected=expected,
        remedy="Correct the sequence file.",
    )


def _joined(defaults: object, own: object) -> Any:
    if not isinstance(defaults, Mapping) or not isinstance(own, Mapping):
        return own
    joined = dict(defaults)
    for key, value in own.items():
        joined[key] = _joined(defaults.get(key), value)
    return joined


def _positions_of(index: int, where: Positions) -> Positions:
    """Return positions by path inside shot `index`; what only the defaults state is found there."""
    own: dict[Path, tuple[int, int]] = {}
    for path, position in where.items():
        if path[:1] == ("defaults",):
            own[path[1:]] = position
    for path, position in where.items():
        if path[:2] == ("shots", index):
            own[path[2:]] = position
    return own
