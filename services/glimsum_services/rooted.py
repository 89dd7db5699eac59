"""Paths of a job, from what a person writes to what every machine understands: ``root:path``."""

import os
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from glimsum_jobs.errors import JobError, PathError
from glimsum_jobs.named_files import named_files
from glimsum_jobs.paths import RootPath, parse_root_path, pattern_of
from glimsum_jobs.problems import Place, Problem, Rank
from glimsum_jobs.shot import ShotJob

REMEDY = "Start with `glimsum up --root NAME=FOLDER`, or set GLIMSUM_ROOTS=NAME=FOLDER."


def paths_of(job: ShotJob) -> Iterator[tuple[tuple[str, ...], str]]:
    """Yield every path of a job with its place in the job."""
    yield from named_files(job)
    yield ("output",), job.output


def root_job(job: ShotJob, folder: Path, roots: Mapping[str, Path]) -> ShotJob:
    """Return the job with every path as ``root:path``.

    Parameters
    ----------
    job : ShotJob
        Paths relative to `folder`, absolute, or ``root:path`` already.
    folder : Path
        Folder of the job file.
    roots : mapping of str to Path
        The roots of this machine; of several that hold a path the innermost is taken.

    Returns
    -------
    ShotJob
        The same job for every machine that has these roots.

    Raises
    ------
    JobError
        With every path that lies in no root or is not a plain path.
    """
    problems: list[Problem] = []
    rooted: dict[tuple[str, ...], str] = {}
    for place, text in paths_of(job):
        try:
            rooted[place] = str(_root(text, folder, roots))
            _check(place, rooted[place])
        except PathError as error:
            problems.append(_problem(job, place, error))
    if problems:
        raise JobError(f"the paths of shot {job.shot} can't be used", problems)
    tree = job.model_dump(mode="json", by_alias=True)
    for place, path in rooted.items():
        part: Any = tree
        for step in place[:-1]:
            part = part[step]
        part[place[-1]] = path
    return ShotJob.model_validate(tree)


def check_rooted(job: ShotJob) -> None:
    """Make sure that every path of a job is ``root:path``.

    Raises
    ------
    JobError
        With every path that is relative, absolute, or not plain.
    """
    problems = []
    for place, text in paths_of(job):
        try:
            _check(place, text)
        except PathError as error:
            problems.append(_problem(job, place, error))
    if problems:
        raise JobError(f"the paths of shot {job.shot} can't be used", problems)


def below(tree: object, folder: str) -> object:
    """Return a raw job whose relative paths are written from one or more folders further up."""
    if not folder or not isinstance(tree, Mapping):
        return tree
    moved = dict(tree)
    if isinstance(moved.get("output"), str):
        moved["output"] = _below(moved["output"], folder)
    for part in ("passes", "mattes", "inserts", "elements"):
        if isinstance(moved.get(part), Mapping):
            moved[part] = {name: _moved(each, folder) for name, each in moved[part].items()}
    return moved


def _moved(each: object, folder: str) -> object:
    """Return a part of a raw job with its own paths, and those of what it holds, moved."""
    if not isinstance(each, Mapping):
        return each
    moved: dict[str, object] = {
        field: _below(value, folder)
        for field, value in each.items()
        if field in ("files", "file", "alignment_frame") and isinstance(value, str)
    }
    if isinstance(each.get("alignment_frame"), Mapping):
        moved["alignment_frame"] = _moved(each["alignment_frame"], folder)
    return {**each, **moved}


def _below(path: str, folder: str) -> str:
    return path if _names_root(path) or path.startswith("/") else f"{folder}/{path}"


def _names_root(text: str) -> bool:
    head, colon, _ = text.partition(":")
    return bool(colon) and "/" not in head


def _root(text: str, folder: Path, roots: Mapping[str, Path]) -> RootPath:
    if _names_root(text):
        return parse_root_path(text)
    # Without following links: a root may itself be reached through one.
    whole = Path(os.path.normpath(folder.absolute() / text))
    holding = {
        name: root for name, root in roots.items() if whole.is_relative_to(os.path.normpath(root))
    }
    if not holding:
        known = ", ".join(f"{name}={root}" for name, root in sorted(roots.items()))
        raise PathError(
            "this path lies in no root, so other machines can't find it",
            place=Place(file=text),
            seen=str(whole),
            expected=f"a path below one of the roots: {known or 'none is set'}",
            remedy=REMEDY,
        )
    name = max(holding, key=lambda each: (len(Path(os.path.normpath(holding[each])).parts), each))
    inside = whole.relative_to(os.path.normpath(holding[name])).as_posix()
    return RootPath(name, "" if inside == "." else inside)


def _check(place: tuple[str, ...], text: str) -> None:
    if not _names_root(text):
        raise PathError(
            "a path does not name its root",
            place=Place(file=text),
            seen=text,
            expected="root:path, for example plates:haze/haze.%04d.jpg",
            remedy="Name the root, or submit the job file with `glimsum submit`, which does it.",
        )
    path = parse_root_path(text)
    if place[-1] == "files":
        pattern_of(path)


def _problem(job: ShotJob, place: tuple[str, ...], error: PathError) -> Problem:
    pass_name = place[1] if place[0] == "passes" else None
    return error.problem(Rank.STOPS_SHOT, shot=job.shot, pass_name=pass_name, field=".".join(place))
