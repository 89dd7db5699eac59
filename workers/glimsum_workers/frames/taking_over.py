"""A finished file of an earlier version, taken over: its blocks shared, else copied, never linked.

A hard link would be one file under two names: whoever damages or changes one version would
change the other. A reflink shares blocks until one of both files is written to.
"""

import errno
import fcntl
import hashlib
import os
from collections.abc import Callable
from pathlib import Path

from glimsum_jobs.errors import SourceError
from glimsum_jobs.problems import Place
from glimsum_workers.frames.whole import placing

FICLONE = 0x40049409
"""linux/fs.h: ``_IOW(0x94, 9, int)``; ioctl_ficlone(2)."""
_CANT_SHARE = frozenset(
    {errno.EOPNOTSUPP, errno.ENOTTY, errno.EXDEV, errno.EINVAL, errno.EPERM, errno.ENOSYS,
     errno.EBADF, errno.ETXTBSY, errno.EISDIR}
)  # fmt: skip
"""What a file system answers that shares no blocks, or not these."""
_PIECE_BYTES = 1 << 20


def take_over(
    source: int,
    folder: Path,
    name: str,
    *,
    digest: str,
    told: str,
    token: str,
    before_rename: Callable[[], None],
) -> None:
    """Bring a file into `folder` under a name of its own, if it is the one that was written.

    Parameters
    ----------
    source : int
        Descriptor of the earlier file, open for reading.
    folder : Path
        Must exist.
    name : str
        Of the new file.
    digest : str
        SHA-256 the bytes must have, hex; taken from what lies under the new name.
    told : str
        The earlier file, as messages name it.
    token : str
        Part of the temporary name.
    before_rename : callable
        Asked right before the file takes its name.

    Raises
    ------
    SourceError
        The earlier file can't be read, or its bytes are others; nothing is left behind.
    OutputError
        The disk is full or fails; nothing is left behind.
    """
    with placing(folder, name, token, before_rename) as temp:
        new = os.open(temp, os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_CLOEXEC, 0o666)
        try:
            found = _digest_of(new, told) if _share(source, new) else _copy(source, new, told)
        finally:
            os.close(new)
        if found != digest:
            raise SourceError(
                "a file of an earlier version is not the one that was written",
                place=Place(file=told),
                seen=f"SHA-256 {found}",
                expected=f"SHA-256 {digest}",
                remedy="Nothing to do for this version: the frame is combined anew. "
                "Look at the disk.",
            )


def _share(source: int, new: int) -> bool:
    """Let the new file share the blocks of the old one; False where that can't be."""
    try:
        fcntl.ioctl(new, FICLONE, source)
    except OSError as error:
        if error.errno in _CANT_SHARE:
            return False
        raise
    return True


def _copy(source: int, new: int, told: str) -> str:
    digest, at = hashlib.sha256(), 0
    while piece := _read(source, at, told):
        digest.update(piece)
        at += len(piece)
        rest = memoryview(piece)
        while rest:
            rest = rest[os.write(new, rest) :]
    return digest.hexdigest()


def _digest_of(new: int, told: str) -> str:
    digest, at = hashlib.sha256(), 0
    while piece := _read(new, at, told):
        digest.update(piece)
        at += len(piece)
    return digest.hexdigest()


def _read(file: int, at: int, told: str) -> bytes:
    """Read a piece; a fault here is one of the old file, not of the disk that is written to."""
    try:
        return os.pread(file, _PIECE_BYTES, at)
    except OSError as error:
        raise SourceError(
            "a file of an earlier version can't be read",
            place=Place(file=told),
            seen=error.strerror or str(error),
            expected="a whole file",
        ) from error
