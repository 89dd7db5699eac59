"""A small file in each root that says which folder it is: an empty mount point has none."""

import os
import re
from contextlib import suppress
from pathlib import Path
from secrets import token_hex

MARKER = ".glimsum_root"

_ID = re.compile(r"[0-9a-f]{16}")


def read_marker(folder: Path) -> str | None:
    """Return the id of a root, or None if it has none.

    Raises
    ------
    OSError
        The folder or its marker can't be read.
    """
    descriptor = os.open(folder, os.O_RDONLY | getattr(os, "O_DIRECTORY", 0))
    try:
        file = os.open(MARKER, os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0), dir_fd=descriptor)
    except FileNotFoundError:
        return None
    finally:
        os.close(descriptor)
    with os.fdopen(file, "rb") as marker:
        found = _ID.search(marker.read(200).decode("ascii", "replace"))
    return found.group() if found else None


def make_marker(folder: Path) -> str | None:
    """Give a root an id and return it; the one it has, or None where nothing can be written."""
    name = f"{token_hex(8)}\n"
    part = folder / f"{MARKER}.{token_hex(4)}"
    try:
        with part.open("x", encoding="ascii") as out:
            out.write(name)
            out.flush()
            os.fsync(out.fileno())
        with suppress(FileExistsError):  # somebody else was first: his stands
            (folder / MARKER).hardlink_to(part)
    except OSError:
        return read_marker(folder)
    finally:
        with suppress(OSError):
            part.unlink()
    return read_marker(folder)
