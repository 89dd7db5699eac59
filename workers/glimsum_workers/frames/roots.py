"""The folders this machine may read and write, by name; nothing outside them is ever opened."""

import errno
import os
import stat
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path

from glimsum_jobs.errors import OutputError, PathError, SourceError
from glimsum_jobs.paths import RootPath
from glimsum_jobs.problems import Place
from glimsum_workers.frames.confined import open_beneath

_LEADS_OUT = (errno.EXDEV, errno.ELOOP)
_READ = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0)
"""Without waiting: a named pipe in the place of a file must be refused, not waited for."""
MOST_NAMED = 8
"""Files and folders that a message names."""

_FOLDER = os.O_RDONLY | getattr(os, "O_DIRECTORY", 0)


class Roots:
    """Named folders of this machine.

    Parameters
    ----------
    folders : mapping of str to Path
        Name of each root and the folder it stands for here.
    """

    def __init__(self, folders: Mapping[str, Path]) -> None:
        self._folders = {name: Path(folder) for name, folder in folders.items()}

    @property
    def names(self) -> tuple[str, ...]:
        """The names, sorted."""
        return tuple(sorted(self._folders))

    def open_file(self, path: RootPath) -> int:
        """Open a regular file for reading.

        Parameters
        ----------
        path : RootPath
            The file.

        Returns
        -------
        int
            A descriptor that the caller closes.

        Raises
        ------
        PathError
            The path leads out of its root, or the root is unknown.
        SourceError
            The file is missing, can't be opened, or is not a regular file.
        """
        descriptor = self._open(path, _READ)
        mode = os.fstat(descriptor).st_mode
        if not stat.S_ISREG(mode):
            os.close(descriptor)
            raise SourceError(
                "this is not a regular file",
                place=Place(file=str(path)),
                seen=_kind(mode),
                expected="a regular file",
            )
        return descriptor

    @contextmanager
    def opened(self, path: RootPath) -> Iterator[int]:
        """Open as `open_file` does, and close at the end of the block."""
        descriptor = self.open_file(path)
        try:
            yield descriptor
        finally:
            os.close(descriptor)

    def list_folder(self, path: RootPath) -> list[str]:
        """Return the names in a folder, sorted.

        Raises
        ------
        PathError
            The path leads out of its root, or the root is unknown.
        SourceError
            The folder is missing or can't be read.
        """
        descriptor = self._open(path, _FOLDER)
        try:
            return sorted(os.listdir(descriptor))  # noqa: PTH208  -- pathlib lists no descriptor
        finally:
            os.close(descriptor)

    def status(self, path: RootPath) -> os.stat_result:
        """Return size, times and identity of a regular file; raises as `open_file`."""
        with self.opened(path) as descriptor:
            return os.fstat(descriptor)

    def make_folder(self, path: RootPath) -> Path:
        """Make a folder and those above it, one by one, each below its root.

        Parameters
        ----------
        path : RootPath
            The folder.

        Returns
        -------
        Path
            The folder as a path of this machine.

        Raises
        ------
        PathError
            The path leads out of its root, or the root is unknown.
        OutputError
            A folder can't be made.
        """
        folder = self._folder(path)
        try:
            for depth, part in enumerate(path.parts):
                above = self._open(RootPath(path.root, "/".join(path.parts[:depth])), _FOLDER)
                try:
                    with suppress(FileExistsError):
                        os.mkdir(part, dir_fd=above)
                finally:
                    os.close(above)
            os.close(self._open(path, _FOLDER))
        except (OSError, SourceError) as error:
            raise OutputError(
                "a folder for output can't be made",
                place=Place(file=str(path)),
                seen=getattr(error, "seen", None) or str(error),
                expected="a folder that this machine may write",
            ) from error
        return folder / path.path

    def free_bytes(self, root: str) -> int:
        """Return the bytes free to this user on the disk of `root`."""
        descriptor = self._open(RootPath(root, ""), _FOLDER)
        try:
            disk = os.fstatvfs(descriptor)
        finally:
            os.close(descriptor)
        return disk.f_bavail * disk.f_frsize

    def _folder(self, path: RootPath) -> Path:
        try:
            return self._folders[path.root]
        except KeyError:
            raise PathError(
                "this machine has no root of that name",
                place=Place(file=str(path)),
                seen=path.root,
                expected=f"one of: {', '.join(self.names) or 'none is set'}",
                remedy="Set the root in this machine's settings.",
            ) from None

    def _open(self, path: RootPath, flags: int) -> int:
        folder = self._folder(path)
        try:
            root = os.open(folder, _FOLDER | os.O_CLOEXEC)
        except OSError as error:
            raise SourceError(
                f"the folder of the root {path.root} can't be opened",
                place=Place(file=str(path)),
                seen=f"{folder}: {error.strerror}",
                expected="a folder, mounted",
                remedy="Mount the storage, or correct the root in this machine's settings.",
            ) from error
        try:
            return open_beneath(root, path.parts, flags)
        except OSError as error:
            raise _refusal(path, error, root) from error
        finally:
            os.close(root)


def _refusal(path: RootPath, error: OSError, root: int) -> PathError | SourceError:
    place = Place(file=str(path))
    if error.errno in _LEADS_OUT:
        return PathError(
            "a link on this path leads out of its root",
            place=place,
            seen=error.strerror or "",
            expected="files below the root",
            remedy="Put the files below the root, or name their folder as a root.",
        )
    if error.errno in (errno.ENOENT, errno.ENOTDIR):
        depth, names = _names_before(path, root)
        folder = RootPath(path.root, "/".join(path.parts[:depth]))
        more = f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
        return SourceError(
            "there is no such file or folder",
            place=place,
            seen=f"in {folder}: {', '.join(names[:MOST_NAMED]) or 'nothing'}{more}",
            expected=path.parts[depth] if path.parts else path.root,
            remedy="Correct the path, or bring the files there.",
        )
    return SourceError(
        "this can't be opened",
        place=place,
        seen=error.strerror or str(error),
        expected="a file or folder that this machine may read",
    )


def _names_before(path: RootPath, root: int) -> tuple[int, list[str]]:
    """Return how many folders of a path are there, and what the last of them holds."""
    for depth in range(len(path.parts) - 1, 0, -1):
        with suppress(OSError):
            folder = open_beneath(root, path.parts[:depth], _FOLDER | os.O_CLOEXEC)
            try:
                return depth, _seen_in(folder)
            finally:
                os.close(folder)
    return 0, _seen_in(root)


def _seen_in(folder: int) -> list[str]:
    return sorted(name for name in os.listdir(folder) if not name.startswith("."))


def _kind(mode: int) -> str:
    kinds = [
        (stat.S_ISDIR, "a folder"),
        (stat.S_ISFIFO, "a named pipe"),
        (stat.S_ISCHR, "a device"),
        (stat.S_ISBLK, "a device"),
        (stat.S_ISSOCK, "a socket"),
    ]
    return next((words for test, words in kinds if test(mode)), "something else")
