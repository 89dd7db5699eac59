"""Where files are, the same on every machine: a named root and a path below it."""

import re
from dataclasses import dataclass
from typing import Self

from glimsum_jobs.errors import PathError
from glimsum_jobs.problems import Place

LONGEST_PATH_BYTES = 1024
LONGEST_NAME_BYTES = 255
"""The longest name of one file in common file systems (common practice, no source)."""

_ROOT = re.compile(r"[A-Za-z][A-Za-z0-9_-]{0,63}")
_NUMBER = re.compile(r"%(%|d|0[1-9]d)")
_FIRST_PRINTABLE = 0x20
_DELETE = 0x7F


@dataclass(frozen=True, order=True)
class RootPath:
    """A file or folder below a named root.

    Attributes
    ----------
    root : str
        Name of the root; each machine says in its settings which folder that is.
    path : str
        Relative path, parts joined by ``/``; empty for the root folder itself.

    Raises
    ------
    PathError
        The path is absolute, climbs with ``..``, or holds what no plain path holds.
    """

    root: str
    path: str

    def __post_init__(self) -> None:
        """Refuse anything but a plain path below the root."""
        if not _ROOT.fullmatch(self.root):
            raise _refuse(
                str(self),
                "the name of a root is not a plain word",
                seen=repr(self.root),
                expected="a letter, then letters, digits, '_' or '-', 64 characters at most",
            )
        if self.path:
            _check_path(str(self), self.path)

    def __str__(self) -> str:
        """Read as it is written in a job: ``plates:haze/haze.0104.jpg``."""
        return f"{self.root}:{self.path}"

    @property
    def name(self) -> str:
        """The last part: the name of the file."""
        return self.path.rpartition("/")[2]

    @property
    def folder(self) -> Self:
        """The folder that holds the file."""
        return type(self)(self.root, self.path.rpartition("/")[0])

    @property
    def parts(self) -> tuple[str, ...]:
        """The parts of the path, outermost first; none for the root folder itself."""
        return tuple(self.path.split("/")) if self.path else ()

    def child(self, name: str) -> Self:
        """Return the path of `name` inside this folder."""
        return type(self)(self.root, f"{self.path}/{name}" if self.path else name)


def parse_root_path(text: str) -> RootPath:
    """Read ``root:path``.

    Parameters
    ----------
    text : str
        For example ``plates:haze/haze.%04d.jpg``.

    Returns
    -------
    RootPath
        The same place as a value.

    Raises
    ------
    PathError
        No root is named, no path follows, or the path is not plain.
    """
    root, colon, path = text.partition(":")
    if not colon or not path:
        raise _refuse(
            text,
            "a path does not name its root" if not colon else "a root is named without a path",
            seen=repr(text),
            expected="root:path, for example plates:haze/haze.0104.jpg",
        )
    return RootPath(root, path)


@dataclass(frozen=True)
class FilePattern:
    """Names of the files of a sequence, as ISO C prints a number: ``haze.%04d.jpg``.

    ``%04d`` is a number of at least four digits, ``%d`` one without padding, ``%%`` a percent
    sign. A pattern without a number is the name of one file.

    Attributes
    ----------
    text : str
        The file name, without its folder.

    Raises
    ------
    PathError
        More than one number, a ``%`` that means neither, or a ``/``.
    """

    text: str

    def __post_init__(self) -> None:
        """Refuse what would not name one file for one number."""
        if "/" in self.text or not self.text:
            raise _refuse(
                self.text,
                "a pattern is not the name of a file",
                seen=repr(self.text),
                expected="a name without folders, for example haze.%04d.jpg",
            )
        numbers = [found for found in _NUMBER.findall(self.text) if found != "%"]
        if "%" in _NUMBER.sub("", self.text) or len(numbers) > 1:
            raise _refuse(
                self.text,
                "the number in a file name can't be read",
                seen=f"{self.text!r}, {len(numbers)} numbers",
                expected="one %04d (or %d, %02d ... %09d); %% for a percent sign",
            )

    @property
    def is_sequence(self) -> bool:
        """True where the name holds a number."""
        return any(found != "%" for found in _NUMBER.findall(self.text))

    def name(self, number: int) -> str:
        """Return the file name of `number`; without a number in the pattern always the same.

        Raises
        ------
        PathError
            `number` is negative.
        """
        if number < 0:
            raise _refuse(
                self.text, "a file number is negative", seen=str(number), expected="0 or more"
            )
        return _NUMBER.sub(lambda found: _print(found[1], number), self.text)

    def number(self, name: str) -> int | None:
        """Return the number that prints as `name`, or None where no number does."""
        digits = self.digits(name)
        if digits is None or self.name(int(digits)) != name:
            return None
        return int(digits)

    def digits(self, name: str) -> str | None:
        """Return the digits that stand in `name` for the number, padded right or wrong."""
        expression, end = "", 0
        for found in _NUMBER.finditer(self.text):
            part = "%" if found[1] == "%" else "([0-9]{1,18})"
            expression += re.escape(self.text[end : found.start()]) + part
            end = found.end()
        match = re.fullmatch(expression + re.escape(self.text[end:]), name)
        return match[1] if match and match.groups() else None


def pattern_of(path: RootPath) -> FilePattern:
    """Return the pattern in the last part of `path`.

    Raises
    ------
    PathError
        A folder holds the number, or the pattern can't be read.
    """
    if any(found != "%" for found in _NUMBER.findall(path.folder.path)):
        raise _refuse(
            str(path),
            "the frame number stands in a folder's name",
            seen=repr(path.folder.path),
            expected="the number in the last part, for example haze/haze.%04d.jpg",
        )
    return FilePattern(path.name)


def _print(conversion: str, number: int) -> str:
    if conversion == "%":
        return "%"
    width = int(conversion[:-1] or "1")
    return f"{number:0{width}d}"


def _check_path(whole: str, path: str) -> None:
    size = len(path.encode("utf-8", errors="surrogateescape"))
    if size > LONGEST_PATH_BYTES:
        raise _refuse(
            whole[:60] + "...",
            "a path is too long",
            seen=f"{size} bytes",
            expected=f"{LONGEST_PATH_BYTES} bytes at most",
        )
    control = [c for c in path if ord(c) < _FIRST_PRINTABLE or ord(c) == _DELETE]
    if control or "\\" in path:
        raise _refuse(
            repr(whole),
            "a path holds a character that no plain path holds",
            seen=repr(control[0] if control else "\\"),
            expected="printing characters, folders parted by '/'",
        )
    for part in path.split("/"):
        if part in ("", ".", ".."):
            raise _refuse(
                whole,
                "a path is absolute, climbs, or has an empty part",
                seen=f"the part {part!r} in {path!r}",
                expected="a path below the root, for example haze/haze.0104.jpg",
            )
        if len(part.encode("utf-8", errors="surrogateescape")) > LONGEST_NAME_BYTES:
            raise _refuse(
                whole[:60] + "...",
                "a file name is too long",
                seen=f"{len(part.encode('utf-8', errors='surrogateescape'))} bytes",
                expected=f"{LONGEST_NAME_BYTES} bytes at most",
            )


def _refuse(file: str, what: str, *, seen: str, expected: str) -> PathError:
    return PathError(what, place=Place(file=file), seen=seen, expected=expected)
