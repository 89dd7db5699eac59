"""Cue sheets that a job names as files: taken in when the job file is read."""

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from glimsum_jobs.errors import JobError, PathError
from glimsum_jobs.paths import RootPath
from glimsum_jobs.problems import Problem
from glimsum_services.job_text.cue_sheets import SheetRow, read_cue_sheet
from glimsum_services.job_text.syntax import (
    FILE_STRIDE,
    MAX_BYTES,
    Position,
    stands_in,
    syntax_error,
)
from glimsum_services.job_text.syntax import Path as FieldPath

Positions = dict[FieldPath, Position]


def job_places(tree: object) -> Iterator[tuple[FieldPath, object]]:
    """Yield the raw jobs of a file with their places: one, several, or those of a sequence."""
    yield (), tree
    if not isinstance(tree, Mapping):
        return
    for field in ("jobs", "shots"):
        several = tree.get(field)
        for index, job in enumerate(several if isinstance(several, list) else []):
            yield (field, index), job
    yield ("defaults",), tree.get("defaults")


def refuse_sheets(tree: object, positions: Positions) -> None:
    """Raise JobError where a request names a cue sheet: a service reads no files for others."""
    for at, job in job_places(tree):
        for path, step in _steps(job, at):
            if isinstance(step.get("cues"), str):
                raise syntax_error(
                    "a job in a request can't read cue sheets",
                    stands_in((*path, "cues"), positions),
                    seen=step["cues"][:80],
                    expected="the cues themselves",
                    remedy="Submit the job file with `glimsum submit`, which reads them.",
                )


def take_in_sheets(
    job: Any, at: FieldPath, folder: Path, positions: Positions, files: list[Path]
) -> None:
    """Put the cues of the sheets a job names in the place of their names.

    Parameters
    ----------
    job : mapping
        Raw job, or whatever else stands in its place; its recipe is changed in place.
    at : tuple
        Where the job stands in its file.
    folder : Path
        Sheets are named from here, and lie here or below.
    positions : dict
        Places of the cells are added; lines count from their file's number times `FILE_STRIDE`.
    files : list of Path
        Files read so far; sheets are added.

    Raises
    ------
    JobError
        A sheet can't be read, or is for other steps.
    """
    for path, step in _steps(job, at):
        name = step.get("cues")
        if not isinstance(name, str):
            continue
        files.append(_find(name, folder, stands_in((*path, "cues"), positions)))
        number = len(files) - 1
        try:
            rows = read_cue_sheet(_read(files[-1]))
            mine = [row for row in rows if _is_for(row, path, step)]
            if not mine:
                raise _no_cue(rows, path)
        except JobError as error:
            raise JobError(error.what, [_shift(each, number) for each in error.problems]) from error
        job["recipe"][path[-1]] = {**step, "cues": [row.cue for row in mine]}
        for place, row in enumerate(mine):
            line = row.line + number * FILE_STRIDE
            positions[(*path, "cues", place)] = (line, 1)
            for field, column in row.columns.items():
                positions[(*path, "cues", place, field)] = (line, column)


def _steps(job: object, at: FieldPath) -> list[tuple[FieldPath, Mapping[str, Any]]]:
    recipe = job.get("recipe") if isinstance(job, Mapping) else None
    steps = recipe if isinstance(recipe, list) else []
    return [((*at, "recipe", i), s) for i, s in enumerate(steps) if isinstance(s, Mapping)]


def _find(name: str, folder: Path, position: Position | None) -> Path:
    try:
        plain = RootPath("sheets", name).path
    except PathError:
        plain = ""
    if not plain.lower().endswith(".csv"):
        raise syntax_error(
            "a step does not name its cue sheet",
            position,
            seen=name[:80],
            expected="FILE.csv in the folder of the job file or below it, or a list of cues",
            remedy="Move the sheet there, or write the cues into the job.",
        )
    return folder / plain


def _read(file: Path) -> str:
    try:
        if not file.is_file():
            raise _unreadable(file, "no file" if not file.exists() else "no regular file")
        with file.open("rb") as opened:
            data = opened.read(MAX_BYTES + 1)
    except OSError as error:
        raise _unreadable(file, error.strerror or str(error)) from error
    if len(data) > MAX_BYTES:
        raise _unreadable(file, f"more than {MAX_BYTES} bytes")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise _unreadable(file, f"byte {data[error.start]:#04x}, which is not UTF-8") from error


def _unreadable(file: Path, seen: str) -> JobError:
    return syntax_error(
        f"the cue sheet {file.name} can't be read",
        None,
        seen=seen,
        expected="a table of comma separated values, text in UTF-8",
        remedy="Correct the name in the job, or save the table anew.",
    )


def _is_for(row: SheetRow, path: FieldPath, step: Mapping[str, Any]) -> bool:
    """Return whether a row is for this step; refuse one that means another step by its number."""
    if not row.step:
        return True
    if row.step != str(int(path[-1]) + 1):
        return False
    label = next((step[f] for f in ("pass", "insert", "element") if f in step), "")
    told = row.label.removeprefix("insert ").removeprefix("element ").partition(" less ")[0]
    if told not in ("", label):
        raise syntax_error(
            f"the cue sheet has other steps than the recipe: step {row.step}",
            (row.line, row.columns["pass"]),
            seen=row.label[:80],
            expected=str(label),
            remedy="Correct the step numbers of the sheet: they count the recipe from 1.",
        )
    return True


def _no_cue(rows: list[SheetRow], path: FieldPath) -> JobError:
    return syntax_error(
        f"the cue sheet has no cue for step {int(path[-1]) + 1} of the recipe",
        None,
        seen=f"cues for steps {', '.join(sorted({row.step for row in rows}))}" if rows else "none",
        expected="a line for it, or lines without a step",
        remedy="Correct the column step, or leave it out.",
    )


def _shift(problem: Problem, number: int) -> Problem:
    line = (problem.place.line or 0) + number * FILE_STRIDE
    return problem.model_copy(update={"place": problem.place.model_copy(update={"line": line})})
