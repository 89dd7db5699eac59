"""Open a path below a folder so that no link and no race can lead out of it."""

import ctypes
import errno
import os
import stat
import sys
from functools import cache

_OPENAT2 = 437
"""Number of the call in every Linux architecture (asm-generic/unistd.h, from memory)."""
_RESOLVE_NO_MAGICLINKS = 0x02
_RESOLVE_BENEATH = 0x08
"""linux/openat2.h; openat2(2): every step stays below the folder, checked by the kernel."""
_DIRECTORY = getattr(os, "O_DIRECTORY", 0)
_NO_FOLLOW = getattr(os, "O_NOFOLLOW", 0)
_TRIES = 16
"""openat2(2): EAGAIN where a folder on the way was renamed meanwhile; the caller tries again."""


class _OpenHow(ctypes.Structure):
    _fields_ = (
        ("flags", ctypes.c_uint64),
        ("mode", ctypes.c_uint64),
        ("resolve", ctypes.c_uint64),
    )


def open_beneath(folder: int, parts: tuple[str, ...], flags: int) -> int:
    """Open the file or folder `parts` below `folder`.

    Links that stay below the folder are followed where the kernel can hold them there
    (Linux 5.6); elsewhere no link is followed at all. A hard link to a file outside can't be
    told from the file itself by any of these means: keep others from writing below the root.

    Parameters
    ----------
    folder : int
        Descriptor of an open folder.
    parts : tuple of str
        Names, outermost first, none of them ``..``; none opens the folder itself.
    flags : int
        As for `os.open`; the descriptor is closed on exec.

    Returns
    -------
    int
        A new descriptor that the caller closes.

    Raises
    ------
    OSError
        As `os.open`; EXDEV or ELOOP where the path would leave the folder.
    """
    flags |= os.O_CLOEXEC
    if _kernel_confines():
        return _openat2(folder, "/".join(parts) or ".", flags)
    return walk_beneath(folder, parts, flags)


def walk_beneath(folder: int, parts: tuple[str, ...], flags: int) -> int:
    """Open step by step without following any link: the portable way of `open_beneath`.

    Parameters
    ----------
    folder : int
        Descriptor of an open folder.
    parts : tuple of str
        Names, outermost first.
    flags : int
        As for `os.open`.

    Returns
    -------
    int
        A new descriptor that the caller closes.

    Raises
    ------
    OSError
        As `os.open`; ELOOP or ENOTDIR at a link.
    """
    step = os.open(".", os.O_RDONLY | _DIRECTORY | os.O_CLOEXEC, dir_fd=folder)
    for index, part in enumerate(parts):
        last = index == len(parts) - 1
        how = flags if last else os.O_RDONLY | _DIRECTORY
        try:
            following = os.open(part, how | _NO_FOLLOW | os.O_CLOEXEC, dir_fd=step)
        except NotADirectoryError:
            if stat.S_ISLNK(os.stat(part, dir_fd=step, follow_symlinks=False).st_mode):
                raise OSError(errno.ELOOP, os.strerror(errno.ELOOP), part) from None
            raise
        finally:
            os.close(step)
        step = following
    return step


@cache
def _kernel_confines() -> bool:
    if not sys.platform.startswith("linux"):
        return False
    try:
        here = os.open("/", os.O_RDONLY | _DIRECTORY | os.O_CLOEXEC)
        try:
            os.close(_openat2(here, ".", os.O_RDONLY | _DIRECTORY | os.O_CLOEXEC))
        finally:
            os.close(here)
    except OSError:
        # An old kernel (ENOSYS) or a sandbox that forbids the call (EPERM): walk instead.
        return False
    return True


def _openat2(folder: int, path: str, flags: int) -> int:
    libc = ctypes.CDLL(None, use_errno=True)
    code = errno.EAGAIN
    how = _OpenHow(flags, 0, _RESOLVE_BENEATH | _RESOLVE_NO_MAGICLINKS)
    for _ in range(_TRIES):
        descriptor = libc.syscall(
            ctypes.c_long(_OPENAT2),
            ctypes.c_int(folder),
            ctypes.c_char_p(os.fsencode(path)),
            ctypes.byref(how),
            ctypes.c_size_t(ctypes.sizeof(how)),
        )
        if descriptor >= 0:
            return int(descriptor)
        code = ctypes.get_errno()
        if code not in (errno.EAGAIN, errno.EINTR):
            break
    raise OSError(code, os.strerror(code), path)
