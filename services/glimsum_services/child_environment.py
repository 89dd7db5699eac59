"""Environment of the worker processes: one thread each, memory and compiled code that stay."""

import hashlib
from collections.abc import Mapping
from contextlib import suppress
from importlib.util import find_spec
from pathlib import Path

ONE_THREAD = dict.fromkeys(
    (
        "OMP_NUM_THREADS",
        "OPENBLAS_NUM_THREADS",
        "MKL_NUM_THREADS",
        "VECLIB_MAXIMUM_THREADS",
        "NUMEXPR_NUM_THREADS",
        "NUMBA_NUM_THREADS",
        "OPENIMAGEIO_THREADS",
    ),
    "1",
)
"""A slot is one process with one thread; the slots together fill the machine."""

KEEP_PAGES = {
    "MALLOC_MMAP_THRESHOLD_": str(2**30),
    "MALLOC_TRIM_THRESHOLD_": str(2**32),
    "MALLOC_TOP_PAD_": str(2**28),
    "GLIBC_TUNABLES": "glibc.malloc.hugetlb=1",
}
"""Freed picture memory stays with the process and lies in large pages, glibc only: measured,
reading a 4K frame takes 0.4 to 0.8 of the time, resampling it 0.9."""

_KERNELS = "NUMBA_CACHE_DIR"


def kept_kernels(state_folder: Path, given: Mapping[str, str]) -> dict[str, str]:
    """Return where workers keep their compiled inner loops: below the state folder, made here.

    The folder is named by the loops' own source, because the compiler looks at the file of a
    loop only, not at the files of the loops it calls. A folder named in `given` comes first.
    """
    if given.get(_KERNELS):
        return {}
    folder = state_folder / "compiled" / _digest_of_kernels()
    with suppress(OSError):  # then each process compiles for itself, and says so
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    return {_KERNELS: str(folder)}


def kernel_folder(given: Mapping[str, str]) -> Path | None:
    """Return where a process with this environment keeps compiled loops; None if nobody said."""
    return Path(given[_KERNELS]) if given.get(_KERNELS) else None


def _digest_of_kernels() -> str:
    found = find_spec("glimsum_workers")
    places = [] if found is None else list(found.submodule_search_locations or ())
    digest = hashlib.sha256()
    for place in places:
        for file in sorted(Path(place, "engine", "compiled").glob("*.py")):
            digest.update(file.name.encode() + file.read_bytes())
    return digest.hexdigest()[:16]
