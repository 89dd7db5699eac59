"""Job files and job texts: one shot, several shots, or a sequence; with every problem's place."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

from glimsum_jobs.errors import JobError, PathError
from glimsum_jobs.paths import RootPath
from glimsum_jobs.problems import Place, Problem, Rank
from glimsum_jobs.reading import read_shot
from glimsum_jobs.sequence import MAX_SHOTS, is_sequence, read_sequence
from glimsum_jobs.shot import ShotJob
from glimsum_services.cue_files import job_places, refuse_sheets, take_in_sheets
from glimsum_services.job_text.json_tree import read_json
from glimsum_services.job_text.syntax import FILE_STRIDE, MAX_BYTES, Position, syntax_error
from glimsum_services.job_text.syntax import Path as FieldPath
from glimsum_services.job_text.yaml_tree import read_yaml
from glimsum_services.rooted import below

Kind = Literal["yaml", "json"]
Positions = dict[FieldPath, Position]


@dataclass(frozen=True)
class Asked:
    """What one file or one request asks for."""

    sequence: str | None
    jobs: tuple[ShotJob, ...]
    texts: tuple[str, ...]
    """What was written for each job; of a job that shares its text with others, its JSON."""
    remarks: tuple[Problem, ...]


def parse_text(data: bytes, kind: Kind) -> tuple[object, Positions, str]:
    """Read YAML or JSON.

    Returns
    -------
    tree : object
        Plain values.
    positions : dict of path to (line, column)
        Counted from 1.
    text : str
        `data` as text.

    Raises
    ------
    JobError
        Too large, not UTF-8, or wrong syntax; with line and column.
    """
    if len(data) > MAX_BYTES:
        raise syntax_error(
            "the job file is too large",
            None,
            seen=f"more than {MAX_BYTES} bytes" if len(data) == MAX_BYTES + 1 else _size(data),
            expected=f"{MAX_BYTES} bytes at most",
            remedy="Split the sequence into several files.",
        )
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        before = data[: error.start]
        position = (before.count(b"\n") + 1, error.start - (before.rfind(b"\n") + 1) + 1)
        raise syntax_error(
            "the job file is not text in UTF-8",
            position,
            seen=f"byte {data[error.start]:#04x}",
            expected="UTF-8",
            remedy="Save the file in UTF-8.",
        ) from error
    tree, positions = read_yaml(text) if kind == "yaml" else read_json(text)
    return tree, positions, text


def read_text(data: bytes, kind: Kind) -> Asked:
    """Read a job, ``{jobs: [...]}`` or a sequence from a request; no other file is read.

    Raises
    ------
    JobError
        With every problem found.
    """
    tree, positions, text = parse_text(data, kind)
    if is_sequence(tree):
        _refuse_files(tree, positions)
    refuse_sheets(tree, positions)
    return _read_tree(tree, positions, text)


def read_job_file(path: Path) -> Asked:
    """Read a job or a sequence from disk.

    Parameters
    ----------
    path : Path
        ``.json`` is JSON, everything else YAML. In a sequence the entry ``{job: FILE}`` stands
        for the job in FILE, named from the sequence's folder; its defaults apply there too. The
        cue sheets that steps name are read; a job that names one has its JSON as text.

    Returns
    -------
    Asked
        Paths in the jobs are as written, relative to the folder of `path`.

    Raises
    ------
    JobError
        With every problem found, each with its file, line and column.
    """
    files = [path]
    try:
        tree, positions, text = _parse_file(path)
        if isinstance(tree, Mapping) and is_sequence(tree) and isinstance(tree.get("shots"), list):
            shots = enumerate(tree["shots"])
            taken = [_take_in(index, shot, positions, files) for index, shot in shots]
            tree = {**tree, "shots": taken}
        for at, job in job_places(tree):
            take_in_sheets(job, at, path.parent, positions, files)
        asked = _read_tree(tree, positions, text)
    except JobError as error:
        raise JobError(error.what, _name_files(error.problems, files)) from error
    if len(files) == 1:
        return asked
    remarks = tuple(_name_files([*asked.remarks], files))
    return replace(asked, texts=tuple(map(_as_text, asked.jobs)), remarks=remarks)


def _read_tree(tree: object, positions: Positions, text: str) -> Asked:
    if is_sequence(tree) and isinstance(tree, Mapping):
        name, jobs, remarks = read_sequence(tree, positions)
        return Asked(name, tuple(jobs), tuple(map(_as_text, jobs)), tuple(remarks))
    if isinstance(tree, Mapping) and set(tree) == {"jobs"}:
        return _read_several(tree["jobs"], positions)
    job, remarks = read_shot(tree, positions)
    return Asked(None, (job,), (text,), tuple(remarks))


def _read_several(trees: object, positions: Positions) -> Asked:
    if not isinstance(trees, list) or not 1 <= len(trees) <= MAX_SHOTS:
        raise syntax_error(
            "jobs is not a list of jobs",
            positions.get(("jobs",)),
            seen=f"{len(trees)} jobs" if isinstance(trees, list) else type(trees).__name__,
            expected=f"a list of 1 to {MAX_SHOTS} jobs",
            remedy="Send the jobs in several requests, or as a sequence.",
        )
    jobs: list[ShotJob] = []
    remarks: list[Problem] = []
    problems: list[Problem] = []
    for index, tree in enumerate(trees):
        inside = {p[2:]: at for p, at in positions.items() if p[:2] == ("jobs", index)}
        try:
            job, notes = read_shot(tree, inside)
        except JobError as error:
            problems += error.problems
        else:
            jobs.append(job)
            remarks += notes
    if problems:
        raise JobError(f"not all of the {len(trees)} jobs can be used", problems)
    return Asked(None, tuple(jobs), tuple(map(_as_text, jobs)), tuple(remarks))


def _as_text(job: ShotJob) -> str:
    return job.model_dump_json(by_alias=True, exclude_none=True)


def _size(data: bytes) -> str:
    return f"{len(data)} bytes"


def _parse_file(path: Path) -> tuple[object, Positions, str]:
    try:
        if not path.is_file():
            raise _no_file(path, "no file" if not path.exists() else "no regular file")
        with path.open("rb") as file:
            data = file.read(MAX_BYTES + 1)
    except OSError as error:
        raise _no_file(path, error.strerror or str(error)) from error
    return parse_text(data, "json" if path.suffix.lower() == ".json" else "yaml")


def _no_file(path: Path, seen: str) -> JobError:
    return syntax_error(
        f"there is no job file {path}" if seen == "no file" else f"{path} can't be read",
        None,
        seen=seen,
        expected="a job file in YAML or JSON",
        remedy="Correct the path of the job file.",
    )


def _take_in(index: int, shot: object, positions: Positions, files: list[Path]) -> object:
    """Return the job an entry ``{job: FILE}`` stands for, and note its file and positions."""
    if not isinstance(shot, Mapping) or "job" not in shot:
        return shot
    at = positions.get(("shots", index, "job"), (1, 1))
    name = shot["job"]
    plain: RootPath | None = None
    if isinstance(name, str) and len(shot) == 1:
        try:
            plain = RootPath("jobs", name)
        except PathError:
            plain = None
    if plain is None or not plain.path:
        raise syntax_error(
            "an entry of a sequence does not name its job file",
            at,
            seen=str(dict(shot))[:80],
            expected="{job: FILE} alone, FILE in the folder of the sequence or below it",
            remedy="Move the file there, or write the job into the sequence.",
        )
    file = files[0].parent / plain.path
    files.append(file)
    number = len(files) - 1
    try:
        tree, inside, _ = _parse_file(file)
    except JobError as error:
        shifted = [_shift(problem, number) for problem in error.problems]
        raise JobError(error.what, shifted) from error
    for path in [path for path in positions if path[:2] == ("shots", index)]:
        del positions[path]
    for path, (line, column) in inside.items():
        positions[("shots", index, *path)] = (line + number * FILE_STRIDE, column)
    take_in_sheets(tree, ("shots", index), file.parent, positions, files)
    return below(tree, plain.folder.path)


def _shift(problem: Problem, number: int) -> Problem:
    line = (problem.place.line or 0) + number * FILE_STRIDE
    return problem.model_copy(update={"place": problem.place.model_copy(update={"line": line})})


def _name_files(problems: list[Problem], files: list[Path]) -> list[Problem]:
    return [
        problem.model_copy(update={"place": _in_file(problem.place, files)}) for problem in problems
    ]


def _in_file(place: Place, files: list[Path]) -> Place:
    number, line = divmod(place.line or 0, FILE_STRIDE)
    return place.model_copy(update={"file": str(files[number]), "line": line or None})


def _refuse_files(tree: Any, positions: Positions) -> None:
    shots = tree.get("shots")
    for index, shot in enumerate(shots if isinstance(shots, list) else []):
        if isinstance(shot, Mapping) and "job" in shot:
            raise JobError(
                "the sequence can't be used",
                [
                    Problem(
                        rank=Rank.STOPS_SHOT,
                        what="a sequence in a request can't read job files",
                        place=Place(
                            field=f"shots.{index}.job",
                            line=positions.get(("shots", index, "job"), (None, None))[0],
                            column=positions.get(("shots", index, "job"), (None, None))[1],
                        ),
                        seen=str(shot["job"])[:80],
                        expected="the job itself",
                        remedy="Submit the sequence file with `glimsum submit`, which reads them.",
                    )
                ],
            )
