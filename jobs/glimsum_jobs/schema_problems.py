"""The schema's complaints in our words: one problem a place, with what was seen and expected."""

import difflib
import json
import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from glimsum_jobs.problems import Place, Problem, Rank

Path = tuple[str | int, ...]
Positions = Mapping[Path, tuple[int, int]]
"""Line and column (from 1) of the values of a job file, by their path in it."""


def place_of(path: Path, positions: Positions, shot: str | None) -> Place:
    """Return the place of a path; where the value is missing, the line of what should hold it."""
    known = path
    while known and known not in positions:
        known = known[:-1]
    line, column = positions.get(known, (None, None))
    field = ".".join(str(part) for part in path)
    pass_name = str(path[1]) if len(path) > 1 and path[0] == "passes" else None
    return Place(shot=shot, pass_name=pass_name, field=field or None, line=line, column=column)


def show(value: object) -> str:
    """Write a value of a job as it would stand in JSON, shortened."""
    text = json.dumps(value, ensure_ascii=False, default=str)
    return text if len(text) <= 80 else text[:77] + "..."


def schema_problems(
    error: ValidationError,
    model: type[BaseModel],
    tree: object,
    positions: Positions,
    shot: str | None,
) -> list[Problem]:
    """Turn a validation error into problems, several complaints about one value made one."""
    by_path: dict[Path, list[ErrorDetails]] = {}
    for detail in error.errors(include_url=False):
        by_path.setdefault(_path_in(tree, detail), []).append(detail)
    fields = _field_names(model)
    return [
        _problem(path, details, fields, place_of(path, positions, shot))
        for path, details in by_path.items()
    ]


def _path_in(tree: object, detail: ErrorDetails) -> Path:
    """Drop the parts of a location that name a branch of a union, not a place in the file."""
    path: list[str | int] = []
    here = tree
    for index, part in enumerate(detail["loc"]):
        if _holds(here, part):
            here = here[part]  # type: ignore[index]  # _holds has looked
        elif not (detail["type"] == "missing" and index == len(detail["loc"]) - 1):
            continue
        path.append(part)
    return tuple(path)


def _holds(container: object, part: str | int) -> bool:
    if isinstance(container, list):
        return isinstance(part, int) and part < len(container)
    return isinstance(container, dict) and part in container


def _field_names(model: type[BaseModel]) -> set[str]:
    names: set[str] = set()

    def collect(schema: object) -> None:
        if isinstance(schema, dict):
            names.update(schema.get("properties", {}))
            for value in schema.values():
                collect(value)
        elif isinstance(schema, list):
            for value in schema:
                collect(value)

    collect(model.model_json_schema())
    return names


def _problem(
    path: Path, details: list[ErrorDetails], fields: Iterable[str], place: Place
) -> Problem:
    last = str(path[-1]) if path else "the job"
    kinds = {detail["type"] for detail in details}
    if kinds == {"missing"}:
        return Problem(
            rank=Rank.STOPS_SHOT,
            what=f"{last} is missing",
            place=place,
            seen="nothing",
            expected=f"a value for {last}",
            remedy=f"Add {last}; `glimsum schema` prints the whole format.",
        )
    if kinds == {"extra_forbidden"}:
        near = difflib.get_close_matches(last, fields, n=1)
        guess = f"Did you mean {near[0]}? " if near else ""
        return Problem(
            rank=Rank.STOPS_SHOT,
            what=f"{last} is not a field of this part of a job",
            place=place,
            seen=last,
            expected="a field of the format",
            remedy=f"{guess}`glimsum schema` prints the whole format.",
        )
    return Problem(
        rank=Rank.STOPS_SHOT,
        what=f"{last} does not hold what it must",
        place=place,
        seen=show(details[0]["input"]),
        expected=" or ".join(dict.fromkeys(_expected(detail) for detail in details)),
        remedy=f"{_guess(details)}Correct the value; `glimsum schema` prints the whole format.",
    )


def _guess(details: Sequence[ErrorDetails]) -> str:
    """Return a question after the word that was meant, if one is near."""
    words = [
        word
        for detail in details
        if detail["type"] == "literal_error"
        for word in re.findall(r"'([^']+)'", str(detail.get("ctx", {}).get("expected")))
    ]
    near = difflib.get_close_matches(str(details[0]["input"]), words, n=1)
    return f"Did you mean {near[0]}? " if near else ""


def _expected(detail: ErrorDetails) -> str:
    context: dict[str, Any] = detail.get("ctx", {})
    match detail["type"]:
        case "literal_error":
            return str(context["expected"])
        case "value_error":
            return str(context["error"])
        case "model_type":
            return "fields of its own, {NAME: VALUE}"
        case "string_pattern_mismatch":
            return f"text like {context['pattern']}"
        case _:
            return detail["msg"].removeprefix("Input should be ")
