"""Compile every inner loop of a frame before a frame needs it: a program of its own.

    python -m glimsum_workers.compile_ahead

Code is kept in the folder NUMBA_CACHE_DIR. A loop states the types it is called with and is
compiled when its file is imported, so importing all files makes all that a frame can call: with
other types a loop can't be called.
"""

import logging
import os
import pkgutil
import signal
import sys
import time
from importlib import import_module
from pathlib import Path

from glimsum_workers.compiled_note import write_note

FOLDER = "NUMBA_CACHE_DIR"

_NICE = 5
"""A third of the share of a slot that wants the same processor. Less would make a slot wait long
for a loop that is just being compiled here on a machine that others keep busy."""

_FIRST = ("tables", "steady", "band_passes", "tile_products", "tile_judging", "tile_rounds")
"""What check and measuring ask for."""
_LAST = ("tiles", "field_samples")
"""What takes half of the time and is asked for late."""

_LET_OTHERS_S = 0.05
"""Between two files, so that a slot that waits for the lock gets it."""

_log = logging.getLogger(__name__)


def compile_everything(pause_s: float = 0.0) -> bool:
    """Compile all loops; return whether they are kept, and stop at the first one that is not."""
    place = "glimsum_workers.engine.compiled"
    is_kept = import_module(f"{place}.kernel").is_kept
    others = sorted({*loop_files()} - {*_FIRST, *_LAST})
    for name in (*_FIRST, *others, *_LAST):
        import_module(f"{place}.{name}")
        if not is_kept():
            return False
        time.sleep(pause_s)
    return True


def loop_files() -> list[str]:
    """Return the names of the files that hold loops."""
    place = Path(__file__).parent / "engine" / "compiled"
    return [each.name for each in pkgutil.iter_modules([str(place)])]


def main() -> int:
    """Compile at low priority, keep it, note that all is there; 0 when it is."""
    # Ctrl-C is for the worker, which ends this with itself.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    os.nice(_NICE)
    logging.basicConfig(format="%(message)s")
    folder = Path(os.environ[FOLDER])
    if not compile_everything(_LET_OTHERS_S):
        return 1
    try:
        write_note(folder)
    except OSError as error:
        _log.warning(
            "the note that all is compiled can't be written into %s: %s; it is looked through "
            "again at the next start, some 2 s of CPU",
            folder,
            error.strerror,
        )
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
