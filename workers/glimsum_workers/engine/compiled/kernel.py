"""Make a function into machine code, once for a machine where it can be kept.

Nothing here lets the compiler reorder or join floating-point operations, so a frame has the same
bytes on every machine whose numbers are those of IEEE 754.
"""

import fcntl
import hashlib
import logging
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from functools import cache
from importlib import import_module
from importlib.resources import files
from typing import Any

_LOG = logging.getLogger(__name__)
_MADE: list[Any] = []
_no_cache: Any = import_module("numba.core.caching").NullCache

numba: Any = import_module("numba")
"""Its own hints don't cover what is compiled from arrays."""


def _name_folder() -> str:
    """Return a folder beside these files, named by what they say all together."""
    here, digest = files("glimsum_workers.engine.compiled"), hashlib.sha256()
    for file in sorted(here.iterdir(), key=lambda each: each.name):
        if file.name.endswith(".py"):
            digest.update(file.name.encode() + file.read_bytes())
    return str(here / "__pycache__" / digest.hexdigest()[:16])


if not numba.config.CACHE_DIR:
    numba.config.CACHE_DIR = _name_folder()


def compile_kernel(function: Callable[..., Any], *signatures: Any) -> Any:
    """Return `function` as machine code that runs without the interpreter's lock.

    Parameters
    ----------
    function : callable
        Within what numba compiles; division by zero gives infinity as in numpy.
    *signatures : numba signature
        Compiled at once, or read from the cache; none: compiled for what it is called with.

    Returns
    -------
    callable
        The same numbers. Where no folder for compiled code can be written it is compiled in
        memory, which costs each process some 30 s of CPU, and a line in the log says so.

    Notes
    -----
    The cache is numba's: the folder NUMBA_CACHE_DIR, or beside this file, or in the user's own
    cache. It looks at the file of a function alone, not at those of what the function calls;
    workers are therefore given a folder named by all of these files together, and so is the one
    beside this file.
    """
    asked = list(signatures) or None
    try:
        with _alone():
            made = numba.jit(asked, cache=True, nogil=True, error_model="numpy")(function)
    except (RuntimeError, OSError) as error:
        # No folder at all, or one that filled up: what was compiled already must not try again.
        for each in _MADE:
            each._cache = _no_cache()  # noqa: SLF001  # numba has no public way to stop keeping
        _tell_once(str(error))
        made = numba.jit(asked, nogil=True, error_model="numpy")(function)
    _MADE.append(made)
    return made


def is_kept() -> bool:
    """Return whether all that was compiled so far lies in a folder, for the next process."""
    return not any(isinstance(each._cache, _no_cache) for each in _MADE)  # noqa: SLF001  # as above


@contextmanager
def _alone() -> Iterator[None]:
    """Let one process of a machine compile at a time: the next one finds what it made.

    Ends with the process, whatever ends that. Where nothing can be locked each compiles by itself.
    """
    folder = numba.config.CACHE_DIR
    with ExitStack() as stack:
        if folder:
            with suppress(OSError):
                lock = stack.enter_context(open(f"{folder}/compiling", "wb"))  # noqa: PTH123  # the engine knows no paths
                fcntl.flock(lock, fcntl.LOCK_EX)
        yield


@cache
def _tell_once(reason: str) -> None:
    _LOG.warning(
        "compiled code can't be kept: %s. Every worker process compiles anew, some 30 s of CPU "
        "each. Set NUMBA_CACHE_DIR to a folder that can be written.",
        reason,
    )


def constant(array: str) -> Any:
    """Return the type of an array that is only read: ``float32[:, ::1]`` and the like."""
    written = getattr(numba.types, array.partition("[")[0])
    return numba.types.Array(written, array.count(",") + 1, "C", readonly=True)
