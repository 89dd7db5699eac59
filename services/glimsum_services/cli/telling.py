"""What commands say: words for people, JSON for machines, problems grouped by rank."""

import json
import sys
from collections.abc import Iterable
from typing import Any

from glimsum_jobs.errors import GlimsumError, JobError
from glimsum_jobs.problems import Problem, Rank

RANKS = (Rank.STOPS_SHOT, Rank.STOPS_FRAME, Rank.REMARK)


def say(text: str = "", *, to_errors: bool = False) -> None:
    """Print one line at once; a reader that has gone away ends the command quietly."""
    stream = sys.stderr if to_errors else sys.stdout
    stream.write(f"{text}\n")
    stream.flush()


def say_json(document: Any, *, one_line: bool = False) -> None:
    """Print a JSON document on the standard output."""
    say(json.dumps(document, ensure_ascii=False, indent=None if one_line else 2))


def problem_json(problem: Problem) -> dict[str, Any]:
    """Return a problem as the API writes it."""
    where = problem.place.model_dump(exclude_none=True)
    if "pass_name" in where:
        where["pass"] = where.pop("pass_name")
    return {
        "rank": str(problem.rank),
        "what": problem.what,
        "where": where,
        "seen": problem.seen,
        "expected": problem.expected,
        "remedy": problem.remedy,
    }


def problem_lines(problems: Iterable[Problem]) -> list[str]:
    """Return problems as indented lines under a heading a rank, the gravest first."""
    found = list(problems)
    lines: list[str] = []
    for rank in RANKS:
        group = [problem for problem in found if problem.rank is rank]
        if group:
            lines.append(f"{_heading(rank)} ({len(group)})")
            lines += [line for problem in group for line in _lines_of(problem)]
    return lines


def _heading(rank: Rank) -> str:
    return {
        Rank.STOPS_SHOT: "Stops the shot",
        Rank.STOPS_FRAME: "Stops a frame",
        Rank.REMARK: "Remarks",
    }[rank]


def _lines_of(problem: Problem) -> list[str]:
    where = str(problem.place)
    lines = [f"  - {where}: {problem.what}" if where else f"  - {problem.what}"]
    for name in ("seen", "expected", "remedy"):
        words = getattr(problem, name)
        if words:
            lines.append(f"      {name + ':':<10}{words}")
    return lines


def problems_of(error: GlimsumError) -> list[Problem]:
    """Return all problems an error carries."""
    if isinstance(error, JobError) and error.problems:
        return list(error.problems)
    return [error.problem()]


def tell_error(error: GlimsumError, code: int, *, as_json: bool) -> None:
    """Say what an error means: words on the error stream, or one JSON document."""
    if as_json:
        problems = [problem_json(problem) for problem in problems_of(error)]
        say_json({"error": error.what, "exit_code": code, "problems": problems})
        return
    if isinstance(error, JobError):
        say(error.what, to_errors=True)
        for line in problem_lines(error.problems):
            say(line, to_errors=True)
        return
    lines = _lines_of(error.problem())
    say(lines[0].removeprefix("  - "), to_errors=True)
    for line in lines[1:]:
        say(line.removeprefix("    "), to_errors=True)
