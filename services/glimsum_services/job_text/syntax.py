"""What can be wrong with a job file before it is a job: its syntax, its size, its depth."""

from glimsum_jobs.errors import JobError
from glimsum_jobs.problems import Place, Problem, Rank

MAX_BYTES = 2 * 1024 * 1024
MAX_VALUES = 100_000
"""Most values a file may hold, what its aliases repeat included."""
MAX_DEPTH = 64
FILE_STRIDE = 1 << 32
"""Lines of the n-th file a job is read from count from n times this, until they are put right."""

Path = tuple[str | int, ...]
Position = tuple[int, int]
"""Line and column, counted from 1."""


def syntax_error(
    what: str, position: Position | None, *, seen: str, expected: str, remedy: str
) -> JobError:
    """Return the error of a file that can't even be read as a tree."""
    line, column = position or (None, None)
    problem = Problem(
        rank=Rank.STOPS_SHOT,
        what=what,
        place=Place(line=line, column=column),
        seen=seen,
        expected=expected,
        remedy=remedy,
    )
    return JobError("the job file can't be read", [problem])


def line_of(lines: list[str], number: int) -> str:
    """Return line `number` (from 1) as it is shown in a problem, shortened."""
    if not 0 < number <= len(lines):
        return "the end of the file"
    return lines[number - 1].strip()[:80] or "an empty line"


def check_bounds(depth: int, values: int, position: Position) -> None:
    """Refuse a file that is nested too deeply or holds too many values.

    Raises
    ------
    JobError
        More than `MAX_DEPTH` levels or `MAX_VALUES` values.
    """
    if depth > MAX_DEPTH:
        raise syntax_error(
            "the values are nested too deeply",
            position,
            seen=f"more than {MAX_DEPTH} levels",
            expected=f"{MAX_DEPTH} levels at most",
            remedy="A job needs no more than six.",
        )
    if values > MAX_VALUES:
        raise syntax_error(
            "the file holds too many values, those that aliases repeat included",
            position,
            seen=f"more than {MAX_VALUES}",
            expected=f"{MAX_VALUES} at most",
            remedy="Split the sequence into several files.",
        )


def stated_twice(name: str, position: Position, before: Position) -> JobError:
    """Return the error of a field that stands twice in one place."""
    return syntax_error(
        f"{name} is stated twice",
        position,
        seen=f"{name}, stated before on line {before[0]}",
        expected="each field once",
        remedy="Leave one of them out.",
    )


def stands_in(path: Path, positions: dict[Path, Position]) -> Position | None:
    """Return where a value stands, or what should hold it."""
    while path and path not in positions:
        path = path[:-1]
    return positions.get(path)
