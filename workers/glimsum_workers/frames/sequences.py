"""Which files of a sequence are there, which are missing, and which look wrong by name or size."""

import os
from dataclasses import dataclass

from glimsum_jobs.errors import SourceError
from glimsum_jobs.paths import RootPath, pattern_of
from glimsum_jobs.problems import Place
from glimsum_workers.frames.roots import Roots


@dataclass(frozen=True)
class FileFound:
    """One file of a sequence.

    Attributes
    ----------
    name : str
    size : int
        Bytes.
    modified_ns : int
        Time of the last change, nanoseconds since 1970 UTC.
    """

    name: str
    size: int
    modified_ns: int


@dataclass(frozen=True)
class Scan:
    """What a folder holds of a sequence.

    Attributes
    ----------
    files : dict of int to FileFound
        By number, in order.
    gaps : tuple of int
        Numbers between the lowest and the highest that have no file; with files taken every
        3rd number these are no fault.
    misnamed : tuple of str
        Names that hold a number with other padding than the pattern; they are not read.
    duplicates : tuple of int
        Numbers that a misnamed file holds as well.
    empty : tuple of int
        Numbers whose file has no bytes.
    """

    files: dict[int, FileFound]
    gaps: tuple[int, ...]
    misnamed: tuple[str, ...]
    duplicates: tuple[int, ...]
    empty: tuple[int, ...]

    @property
    def numbers(self) -> tuple[int, ...]:
        """The numbers that have a file, sorted."""
        return tuple(self.files)


def scan(roots: Roots, path: RootPath) -> Scan:
    """Look for the files of a sequence; opens each once and reads none.

    Parameters
    ----------
    roots : Roots
        Where the roots of this machine are.
    path : RootPath
        With a number in its last part: ``plates:haze/haze.%04d.jpg``.

    Returns
    -------
    Scan
        Numbers, sizes, times, and what looks wrong.

    Raises
    ------
    PathError
        The path leads out of its root or its pattern can't be read.
    SourceError
        The folder is missing, or no file fits; names the files that are there instead.
    """
    pattern = pattern_of(path)
    names = roots.list_folder(path.folder)
    digits = {name: found for name in names if (found := pattern.digits(name)) is not None}
    by_number = {n: name for name in digits if (n := pattern.number(name)) is not None}
    if not by_number:
        raise SourceError(
            "no file of the sequence is there",
            place=Place(file=str(path)),
            seen=f"{len(names)} other names{_few(names)}",
            expected=f"{pattern.name(1)}, {pattern.name(2)} ...",
            remedy="Correct the path, or copy the files.",
        )
    files = {n: _look(roots, path.folder.child(by_number[n])) for n in sorted(by_number)}
    misnamed = tuple(name for name in digits if pattern.number(name) is None)
    return Scan(
        files=files,
        gaps=_gaps(list(files)),
        misnamed=misnamed,
        duplicates=tuple(sorted({int(digits[name]) for name in misnamed} & files.keys())),
        empty=tuple(n for n, found in files.items() if found.size == 0),
    )


_MOST_GAPS = 100_000


def _gaps(numbers: list[int]) -> tuple[int, ...]:
    present = set(numbers)
    span = range(numbers[0], numbers[-1] + 1)
    if len(span) > len(numbers) + _MOST_GAPS:
        # A stray number far off: the first hole is named, not every number in it.
        span = range(numbers[0], numbers[0] + len(numbers) + 1)
    return tuple(number for number in span if number not in present)


def _look(roots: Roots, path: RootPath) -> FileFound:
    status: os.stat_result = roots.status(path)
    return FileFound(path.name, status.st_size, status.st_mtime_ns)


def _few(names: list[str]) -> str:
    return f": {', '.join(names[:3])}{' ...' if len(names) > 3 else ''}" if names else ""
