"""Ask the system for files before they are read, so that a disk works while a processor does."""

import os
from contextlib import suppress

PIECE = 128 * 1024
"""Bytes of one request. Linux cuts a longer one to the larger of what the disk takes at once and
its read-ahead, 128 KiB unless set otherwise (mm/readahead.c, force_page_cache_ra, from memory)."""


def ask_ahead(descriptor: int) -> None:
    """Ask for a whole file to be read into memory; returns before it is.

    It is a hint: where the system knows none, or refuses, nothing happens.

    Parameters
    ----------
    descriptor : int
        Of an open file.

    Notes
    -----
    posix_fadvise(2) with POSIX_FADV_WILLNEED (POSIX.1-2001).
    """
    if not hasattr(os, "posix_fadvise"):
        return
    with suppress(OSError):
        for at in range(0, os.fstat(descriptor).st_size, PIECE):
            os.posix_fadvise(descriptor, at, PIECE, os.POSIX_FADV_WILLNEED)
