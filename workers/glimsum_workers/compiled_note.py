"""The note in the folder of compiled code that says: every inner loop is here, for this machine."""

import json
import os
import platform
import sys
from collections.abc import Iterator
from contextlib import suppress
from importlib.metadata import version
from pathlib import Path
from typing import Any

NOTE = "all_compiled.json"

_LOOPS = Path(__file__).parent / "engine" / "compiled"
_PROCESSOR = ("vendor_id", "model name", "flags", "CPU implementer", "CPU part", "Features")
"""Lines of /proc/cpuinfo that say what may be compiled for, x86_64 and aarch64 (Linux)."""


def everything_is_compiled(folder: Path) -> bool:
    """Return whether `folder` holds every loop as a process of this machine would compile it now.

    Looks at a note and at the sizes of some 80 files; the compiler is not loaded.
    """
    try:
        note = json.loads((folder / NOTE).read_text("utf-8"))
        kept: dict[str, int] = note["files"]
        return note["made_by"] == _made_by() and all(
            (folder / name).stat().st_size == size for name, size in kept.items()
        )
    except (OSError, ValueError, LookupError, TypeError, AttributeError):
        return False


def write_note(folder: Path) -> int:
    """Note that everything is compiled; return how many files hold it.

    Raises
    ------
    OSError
        The folder can't be written or is full; an older note stays as it was.
    """
    files = {str(file.relative_to(folder)): file.stat().st_size for file in _kept_in(folder)}
    part = folder / f"{NOTE}.{os.getpid()}"
    try:
        part.write_text(json.dumps({"made_by": _made_by(), "files": files}, indent=1), "utf-8")
        part.replace(folder / NOTE)
    except OSError:
        with suppress(OSError):
            part.unlink(missing_ok=True)
        raise
    return len(files)


def _kept_in(folder: Path) -> Iterator[Path]:
    """Yield the files of compiled code: an index a loop, and a file a signature."""
    for ending in ("nbi", "nbc"):
        yield from sorted(folder.glob(f"*/*.{ending}"))


def _made_by() -> dict[str, Any]:
    """Return all that makes kept code useless when it changes.

    The compiler holds an index against the place, time and size of its source file, its own
    version and the processor; what the loops call is not asked by it, so it is here.
    """
    sources = {}
    for file in sorted(_LOOPS.glob("*.py")):
        found = file.stat()
        sources[str(file)] = [found.st_size, found.st_mtime_ns]
    return {
        "sources": sources,
        "numba": version("numba"),
        "llvmlite": version("llvmlite"),
        "python": f"{sys.implementation.cache_tag}{getattr(sys, 'abiflags', '')}",
        "machine": [platform.system(), platform.machine(), *_processor()],
        "asked": {
            name: value
            for name, value in sorted(os.environ.items())
            if name.startswith("NUMBA_") and name != "NUMBA_CACHE_DIR"
        },
    }


def _processor() -> list[str]:
    try:
        first = Path("/proc/cpuinfo").read_text("utf-8").partition("\n\n")[0]
    except OSError:
        return [platform.processor()]
    lines = (line.partition(":") for line in first.splitlines())
    return [value.strip() for name, _, value in lines if name.strip() in _PROCESSOR]
