"""Whether masters are there as they were written: by digest, or by size alone."""

import hashlib
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from glimsum_jobs.errors import GlimsumError
from glimsum_jobs.ledger import Stage
from glimsum_jobs.left_behind import LeftBehind
from glimsum_jobs.orders import RunOrder
from glimsum_jobs.paths import RootPath, parse_root_path
from glimsum_services.folders import open_file
from glimsum_services.version_disk import MASTERS

READERS = 4
"""Masters read at once: enough to keep a disk busy, few enough for a spinning one."""
PIECE_BYTES = 1024 * 1024


@dataclass(frozen=True)
class Masters:
    """The masters of a version, as they are now.

    Attributes
    ----------
    seen : mapping
        By name the digest of the file, or its size; None where it is not there.
    field : str
        What of a frame's result that is held against.
    read_bytes : int
        How much was read.
    """

    seen: Mapping[str, object]
    field: str
    read_bytes: int

    def is_whole(self, result: Mapping[str, Any]) -> bool:
        """Return whether the master of a frame is the one its result tells of."""
        found = self.seen.get(str(result.get("name")))
        return found is not None and found == result.get(self.field)


def read_masters(
    roots: Mapping[str, Path], order: RunOrder, lines: Sequence[LeftBehind], *, quick: bool
) -> Masters:
    """Read every master that a line names; with `quick` only its size."""
    folder = parse_root_path(order.folder).child(MASTERS)
    names = {str(line.result.get("name")) for line in lines if line.stage is Stage.COMBINE}

    def look(name: str) -> tuple[str, object, int]:
        return (name, *_look(roots, folder, name, quick=quick))

    with ThreadPoolExecutor(READERS) as readers:
        found = list(readers.map(look, sorted(names)))
    return Masters(
        seen={name: told for name, told, _ in found},
        field="bytes" if quick else "file_digest",
        read_bytes=sum(size for _, _, size in found),
    )


def _look(
    roots: Mapping[str, Path], folder: RootPath, name: str, *, quick: bool
) -> tuple[object, int]:
    """Return the digest of a master, or its size, and how much was read for it."""
    digest = hashlib.sha256()
    try:
        with open_file(roots, folder, name) as file:
            if quick:
                return file.seek(0, 2), 0
            while piece := file.read(PIECE_BYTES):
                digest.update(piece)
            return digest.hexdigest(), file.tell()
    except (GlimsumError, OSError):
        return None, 0
