"""Numbered folders: made one by one below a root, and read without ever leaving it."""

import errno
import os
import stat
from collections.abc import Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from secrets import token_hex
from typing import BinaryIO

from glimsum_jobs.errors import OutputError, PathError, SourceError
from glimsum_jobs.paths import RootPath
from glimsum_jobs.problems import Place

MAX_VERSION = 9999

_FOLDER = os.O_RDONLY | getattr(os, "O_DIRECTORY", 0) | getattr(os, "O_NOFOLLOW", 0)
_FILE = os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)


def make_version_folder(
    roots: Mapping[str, Path], output: RootPath, after: int, letter: str = "v"
) -> tuple[int, RootPath, Path]:
    """Make the folder of the next version or wedge; whoever makes it has the number.

    Parameters
    ----------
    roots : mapping of str to Path
        The roots of this machine.
    output : RootPath
        Folder of the shot's versions, or wedges; made if it is not there.
    after : int
        The number must be above this one and above every one that is on disk.
    letter : str
        Before the number: v of a version, w of a wedge.

    Returns
    -------
    version : int
    folder : RootPath
        ``output/vNNN``, empty.
    here : Path
        The same folder on this machine.

    Raises
    ------
    PathError
        The root is unknown on this machine, or a link stands in the path.
    OutputError
        The folder can't be made.
    """
    root = _root_of(roots, output)
    step = _open_root(root, output)
    try:
        for index, part in enumerate(output.parts):
            with suppress(FileExistsError):
                os.mkdir(part, dir_fd=step)
            inner = _enter(step, part, RootPath(output.root, "/".join(output.parts[: index + 1])))
            os.close(step)
            step = inner
        version = max([after, *_numbers_in(step, letter)]) + 1
        while True:
            try:
                os.mkdir(f"{letter}{version:03d}", dir_fd=step)
                break
            except FileExistsError:
                version += 1
        os.fsync(step)
    except OSError as error:
        raise OutputError(
            "the folder of a new version can't be made",
            place=Place(file=str(output)),
            seen=error.strerror or str(error),
            expected="a folder that this machine may write, with space left",
            remedy="Check rights and free space of the output folder.",
        ) from error
    finally:
        os.close(step)
    folder = output.child(f"{letter}{version:03d}")
    return version, folder, root / folder.path


def open_file(roots: Mapping[str, Path], folder: RootPath, name: str) -> BinaryIO:
    """Open one regular file below `folder` for reading; links are not followed.

    Raises
    ------
    PathError
        `name` is not a plain path, the root is unknown, or a link stands in the way.
    SourceError
        No such file, or no regular file.
    """
    path = RootPath(folder.root, f"{folder.path}/{name}")
    step = _open_root(_root_of(roots, path), path)
    try:
        for part in path.parts[:-1]:
            inner = _enter(step, part, path)
            os.close(step)
            step = inner
        file = os.fdopen(os.open(path.name, _FILE, dir_fd=step), "rb")
    except OSError as error:
        raise _refusal(path, error) from error
    finally:
        os.close(step)
    if not stat.S_ISREG(os.fstat(file.fileno()).st_mode):
        file.close()
        raise SourceError(
            "this can't be shown",
            place=Place(file=str(path)),
            seen="no regular file",
            expected="a regular file",
        )
    return file


def list_folder(roots: Mapping[str, Path], folder: RootPath) -> list[str]:
    """Return the names in a folder, sorted; links are not followed.

    Raises
    ------
    PathError
        The root is unknown, or a link or a file stands in the way.
    SourceError
        No such folder.
    """
    step = _open_root(_root_of(roots, folder), folder)
    try:
        for part in folder.parts:
            inner = _enter(step, part, folder)
            os.close(step)
            step = inner
        return sorted(os.listdir(step))  # noqa: PTH208  # pathlib lists no descriptor
    finally:
        os.close(step)


def remove_folder(roots: Mapping[str, Path], folder: RootPath) -> None:
    """Remove a folder that holds files alone; links are not followed.

    Raises
    ------
    PathError
        The root is unknown, or a link or a file stands in the way.
    SourceError
        No such folder.
    OutputError
        It can't be removed whole; what is left of it stays.
    """
    step = _open_root(_root_of(roots, folder), folder)
    try:
        for part in folder.parts[:-1]:
            inner = _enter(step, part, folder)
            os.close(step)
            step = inner
        inner = _enter(step, folder.name, folder)
        try:
            for name in os.listdir(inner):  # noqa: PTH208  # pathlib lists no descriptor
                os.unlink(name, dir_fd=inner)
        finally:
            os.close(inner)
        os.rmdir(folder.name, dir_fd=step)
    except OSError as error:
        raise OutputError(
            "a folder can't be removed",
            place=Place(file=str(folder)),
            seen=error.strerror or str(error),
            expected="a folder of files that this machine may remove",
            remedy="Check its rights, or remove it by hand.",
        ) from error
    finally:
        os.close(step)


def write_whole(folder: Path, name: str, data: bytes) -> None:
    """Write a file whole or not at all, safe on disk when this returns.

    Raises
    ------
    OutputError
        It can't be written; no part of it is left.
    """
    temporary = folder / f".{name}.{token_hex(4)}.part"
    try:
        with temporary.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        temporary.replace(folder / name)
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
    except OSError as error:
        temporary.unlink(missing_ok=True)
        raise OutputError(
            f"{name} can't be written",
            place=Place(file=str(folder / name)),
            seen=error.strerror or str(error),
            expected="a folder that this machine may write, with space left",
            remedy="Check rights and free space of the output folder.",
        ) from error


def _numbers_in(descriptor: int, letter: str) -> Sequence[int]:
    names = os.listdir(descriptor)
    return [int(name[1:]) for name in names if name[:1] == letter and name[1:].isdecimal()]


def _root_of(roots: Mapping[str, Path], path: RootPath) -> Path:
    if path.root not in roots:
        raise PathError(
            "this machine has no root of that name",
            place=Place(file=str(path)),
            seen=path.root,
            expected=f"one of: {', '.join(sorted(roots)) or 'none is set'}",
            remedy="Start with `glimsum up --root NAME=FOLDER`, or set GLIMSUM_ROOTS.",
        )
    return Path(roots[path.root])


def _open_root(root: Path, path: RootPath) -> int:
    try:
        return os.open(root, os.O_RDONLY | getattr(os, "O_DIRECTORY", 0))
    except OSError as error:
        raise PathError(
            f"the folder of the root {path.root} can't be opened",
            place=Place(file=str(path)),
            seen=f"{root}: {error.strerror}",
            expected="a folder, mounted",
            remedy="Mount the storage, or correct the root in this machine's settings.",
        ) from error


def _enter(step: int, part: str, path: RootPath) -> int:
    try:
        return os.open(part, _FOLDER, dir_fd=step)
    except OSError as error:
        raise _refusal(path, error) from error


def _refusal(path: RootPath, error: OSError) -> PathError | SourceError:
    place = Place(file=str(path))
    if error.errno in (errno.ENOENT,):
        return SourceError("there is no such file", place=place, seen="nothing", expected=path.name)
    return PathError(
        "a link or a file stands where a folder is needed",
        place=place,
        seen=error.strerror or str(error),
        expected="plain folders below the root",
        remedy="Name the real folder; outputs don't go through links.",
    )
