"""A file is there whole, or not at all."""

import os
import tempfile
from collections.abc import Callable, Collection, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from glimsum_jobs.errors import OutputError
from glimsum_jobs.problems import Place

TEMP_MARK = ".part"
"""Ends the name of every file that is not whole yet; `sweep_parts` removes it once its worker is
known to be gone."""


def nothing_to_ask() -> None:
    """Stand for `before_rename` where no lease is held."""


def temp_name(name: str, token: str) -> str:
    """Return the name under which `name` is written before it is whole."""
    return f".{name}.{token}{TEMP_MARK}"


@contextmanager
def placing(
    folder: Path, name: str, token: str, before_rename: Callable[[], None] = nothing_to_ask
) -> Iterator[Path]:
    """Give a path to write to; at the end of the block the file takes its name, whole.

    Parameters
    ----------
    folder : Path
        Must exist; the file is written in it, so that the last step is one rename.
    name : str
        Of the whole file; one of that name is replaced.
    token : str
        Tells this writer from any other of the same name.
    before_rename : callable, optional
        Called once everything is on the disk; what it raises leaves nothing behind.

    Yields
    ------
    Path
        Where to write.

    Raises
    ------
    OutputError
        The disk is full or fails; nothing is left behind.
    """
    target, temp = folder / name, folder / temp_name(name, token)
    try:
        yield temp
        _to_disk(temp)
        written = temp.stat()
        before_rename()
        try:
            temp.replace(target)
        except OSError:
            # The answer of a network file system may be lost after the rename was done.
            if not _is_there(target, written):
                raise
        with suppress(OSError):
            # Some file systems can't flush a folder; the file itself is on the disk.
            _to_disk(folder)
    except OSError as error:
        raise _not_whole(target, error) from error
    finally:
        with suppress(OSError):
            temp.unlink(missing_ok=True)


def write_whole(
    folder: Path,
    name: str,
    content: bytes,
    token: str,
    before_rename: Callable[[], None] = nothing_to_ask,
) -> None:
    """Write `content` as a whole file; parameters and errors as `placing`.

    Raises
    ------
    OutputError
        The disk is full, fails, or took fewer bytes than it was given.
    """
    with placing(folder, name, token, before_rename) as temp:
        temp.write_bytes(content)
        size = temp.stat().st_size
        if size != len(content):
            raise OutputError(
                "the disk took fewer bytes than were written",
                place=Place(file=str(folder / name)),
                seen=f"{size} bytes",
                expected=f"{len(content)} bytes",
            )


def sweep_parts(
    folder: Path, *, live: Collection[str], token_s: float, other_s: float, depth: int = 1
) -> int:
    """Remove the unfinished files of writers that are gone.

    A file is left alone while its token is live, and while it is young: its writer may have got
    its token after `live` was asked for. Age is told by the clock of the file system itself.

    Parameters
    ----------
    folder : Path
        Swept with the folders below it, to `depth`.
    live : collection of str
        Tokens whose writers may still finish.
    token_s : float
        Age from which a file with a number for a token goes, s: longer than any lease.
    other_s : float
        The same for any other token, which nobody can ask about, s: longer than any writer lives.
    depth : int
        How far down folders are looked into.

    Returns
    -------
    int
        How many were removed.
    """
    now = _file_system_time(folder)
    removed = 0
    for base, folders, names in os.walk(folder):
        if len(Path(base).relative_to(folder).parts) >= depth:
            folders.clear()
        for name in names:
            token = name.removesuffix(TEMP_MARK).rpartition(".")[2]
            if not (name.startswith(".") and name.endswith(TEMP_MARK)) or token in live:
                continue
            file = Path(base) / name
            with suppress(OSError):
                if now - file.lstat().st_mtime > (token_s if token.isdecimal() else other_s):
                    file.unlink()
                    removed += 1
    return removed


def _file_system_time(folder: Path) -> float:
    """Return the time a file written now would bear; a server's clock may differ from ours."""
    descriptor, name = tempfile.mkstemp(prefix=".time.", suffix=TEMP_MARK, dir=folder)
    try:
        return os.fstat(descriptor).st_mtime
    finally:
        os.close(descriptor)
        with suppress(OSError):
            Path(name).unlink()


def _to_disk(path: Path) -> None:
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _is_there(target: Path, written: os.stat_result) -> bool:
    try:
        found = target.stat()
    except OSError:
        return False
    return (found.st_ino, found.st_size) == (written.st_ino, written.st_size)


def _not_whole(target: Path, error: OSError) -> OutputError:
    return OutputError(
        "the file can't be written whole; nothing is left of it",
        place=Place(file=str(target)),
        seen=error.strerror or str(error),
        expected="a folder that exists, with room on its disk",
        remedy="Make room or mount the storage; the frame is tried again.",
    )
