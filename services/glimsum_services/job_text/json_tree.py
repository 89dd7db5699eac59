"""JSON (RFC 8259) read into plain values, with the place of each."""

import json
import math
import re
from collections.abc import Iterator
from typing import NoReturn

from glimsum_services.job_text.syntax import (
    Path,
    Position,
    check_bounds,
    line_of,
    stated_twice,
    syntax_error,
)

_TOKEN = re.compile(r'"(?:[^"\\]|\\.)*"|[{}\[\],:]|[^\s{}\[\],:"]+')


def read_json(text: str) -> tuple[object, dict[Path, Position]]:
    """Read one JSON value.

    Returns
    -------
    tree : object
        Mappings, lists, text, numbers, booleans and None.
    positions : dict of path to (line, column)
        Where each value stands, counted from 1.

    Raises
    ------
    JobError
        Wrong syntax, a field stated twice, NaN or Infinity, or more values or levels than
        `check_bounds` allows; with line and column.
    """
    try:
        tree = json.loads(text, parse_constant=_no_number, parse_float=_finite)
    except RecursionError:
        raise syntax_error(
            "the values are nested too deeply",
            None,
            seen="more levels than can be followed",
            expected="a job",
            remedy="A job needs no more than six levels.",
        ) from None
    except json.JSONDecodeError as error:
        raise syntax_error(
            f"this is not JSON: {error.msg}",
            (error.lineno, error.colno),
            seen=line_of(text.splitlines(), error.lineno),
            expected="JSON",
            remedy="Look at this line and the one before it: commas, colons, brackets, quotes.",
        ) from error
    except ValueError as error:
        raise syntax_error(
            "a number can't be used",
            None,
            seen=str(error)[:80],
            expected="a finite number",
            remedy="Correct the value.",
        ) from error
    return tree, _positions(text)


def _no_number(text: str) -> NoReturn:
    raise ValueError(text)


def _finite(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise ValueError(text)
    return value


def _tokens(text: str) -> Iterator[tuple[str, Position]]:
    line, line_start, last = 1, 0, 0
    for match in _TOKEN.finditer(text):
        between = text.count("\n", last, match.start())
        if between:
            line += between
            line_start = text.rfind("\n", last, match.start()) + 1
        last = match.start()
        yield match.group(), (line, match.start() - line_start + 1)


def _positions(text: str) -> dict[Path, Position]:
    """Walk the brackets of sound JSON and note where each value and each name stands."""
    found: dict[Path, Position] = {}
    path: list[str | int] = []
    kinds: list[str] = []
    wants_name = False
    for token, position in _tokens(text):
        if token in "]}":
            kinds.pop()
            path.pop()
            wants_name = False
        elif token == ",":
            wants_name = _next_entry(kinds, path)
        elif wants_name:
            path[-1] = str(json.loads(token))
            if tuple(path) in found:
                raise stated_twice(str(path[-1]), position, found[tuple(path)])
            wants_name = False
        elif token != ":":
            found[tuple(path)] = position
            check_bounds(len(kinds), len(found), position)
            if token in "[{":
                kinds.append(token)
                path.append(0)
                wants_name = token == "{"
    return found


def _next_entry(kinds: list[str], path: list[str | int]) -> bool:
    """Step to the next entry of the innermost bracket; answers whether a name comes next."""
    if kinds[-1] == "[" and isinstance(path[-1], int):
        path[-1] += 1
    return kinds[-1] == "{"
