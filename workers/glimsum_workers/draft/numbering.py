"""Numbers in file names: which part is the frame number, and the pattern that prints them all."""

import re
from collections import Counter
from collections.abc import Sequence
from itertools import pairwise

from glimsum_jobs.frame_ranges import runs_of

_NUMBERED = re.compile(r"(?P<stem>.*?)(?P<digits>[0-9]{1,9})(?P<ending>\.[^./]+)")


def sequence_of(path: str) -> tuple[str, str] | None:
    """Return what stands before and after the last number of a file's name, None without one."""
    match = _NUMBERED.fullmatch(path)
    return (match["stem"], match["ending"]) if match else None


def number_in(path: str) -> int:
    """Return the last number of a file's name, 0 without one."""
    match = _NUMBERED.fullmatch(path)
    return int(match["digits"]) if match else 0


def pattern_over(paths: Sequence[str]) -> str:
    """Return the pattern, as ISO C prints a number, that names all `paths` of one sequence.

    Parameters
    ----------
    paths : sequence of str
        Paths that differ in their number alone, one at least.

    Returns
    -------
    str
        For example ``haze/haze.%04d.jpg``; ``%d`` where the numbers are not padded. A literal
        percent sign is doubled.
    """
    match = _NUMBERED.fullmatch(paths[0])
    if match is None:
        return escape(paths[0])
    digits = [found["digits"] for each in paths if (found := _NUMBERED.fullmatch(each))]
    padded = any(each.startswith("0") and len(each) > 1 for each in digits)
    equal = len({len(each) for each in digits}) == 1
    width = min(len(each) for each in digits)
    number = f"%0{width}d" if (padded or equal) and width > 1 else "%d"
    return f"{escape(match['stem'])}{number}{escape(match['ending'])}"


def escape(path: str) -> str:
    """Return the path as a pattern without a number."""
    return path.replace("%", "%%")


def gaps_in(numbers: Sequence[int]) -> list[str]:
    """Say in words which numbers are missing, or that they rise by more than one.

    Parameters
    ----------
    numbers : sequence of int
        Rising, two at least.

    Returns
    -------
    list of str
        No or one sentence.
    """
    steps = Counter(later - earlier for earlier, later in pairwise(numbers))
    if len(steps) == 1 and (step := next(iter(steps))) > 1:
        return [f"its file numbers rise by {step}: were lamps fired in turn? then add step: {step}"]
    lost = [n for earlier, later in pairwise(numbers) for n in range(earlier + 1, later)]
    return [f"files are missing: {runs_of(lost)}"] if lost else []
