"""What a version holds: a line file a worker while it is made, one manifest when it is done."""

import json
import os
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from glimsum_jobs.errors import OutputError
from glimsum_jobs.problems import Place
from glimsum_workers.frames.whole import write_whole

MANIFEST = "manifest.json"
_PLAIN = re.compile(r"[^A-Za-z0-9._-]")
_ENDING = ".jsonl"

Record = Mapping[str, Any]
"""One finished item: JSON values, at least ``stage`` and ``item``, both text."""


@dataclass(frozen=True)
class Lines:
    """What the line files of a version hold.

    Attributes
    ----------
    records : tuple of Record
        Every whole line, files by name, lines in their order.
    torn : tuple of str
        Files with a line that can't be read (a worker died in the middle of it), by name.
    """

    records: tuple[Record, ...]
    torn: tuple[str, ...]


def append_line(folder: Path, worker: str, record: Record) -> None:
    """Add one line to this worker's file; on the disk when this returns.

    Parameters
    ----------
    folder : Path
        For the lines; must exist.
    worker : str
        Names the file; what is no letter, digit, ``.``, ``_`` or ``-`` becomes ``_``. On one
        machine several processes may share it, on a network file system they must not.
    record : Record
        The finished item.

    Raises
    ------
    OutputError
        The disk is full or fails.
    """
    path = folder / f"{_PLAIN.sub('_', worker)[:64]}{_ENDING}"
    line = json.dumps(record, sort_keys=True, separators=(",", ":"), allow_nan=False).encode()
    try:
        descriptor = os.open(path, os.O_RDWR | os.O_CREAT | os.O_APPEND | os.O_CLOEXEC, 0o666)
        try:
            size = os.fstat(descriptor).st_size
            # A line that a dead worker left torn must not swallow this one.
            torn = size > 0 and os.pread(descriptor, 1, size - 1) != b"\n"
            data = (b"\n" if torn else b"") + line + b"\n"
            taken = os.write(descriptor, data)
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
    except OSError as error:
        raise _not_added(path, error.strerror or str(error)) from error
    if taken != len(data):
        raise _not_added(path, f"{taken} of {len(data)} bytes taken")


def read_lines(folder: Path) -> Lines:
    """Return every whole line of every worker's file in `folder`."""
    records: list[Record] = []
    torn = []
    for path in sorted(folder.iterdir()):
        if path.suffix != _ENDING:
            continue
        whole = [_record(line) for line in path.read_bytes().split(b"\n") if line]
        records += [record for record in whole if record is not None]
        if None in whole:
            torn.append(path.name)
    return Lines(tuple(records), tuple(torn))


def write_manifest(
    folder: Path, head: Mapping[str, Any], frames: Iterable[Record], token: str
) -> None:
    """Write the manifest of a version, whole or not at all.

    Parameters
    ----------
    folder : Path
        Of the version.
    head : mapping
        What stands beside ``frames``: version, job, dates.
    frames : iterable of Record
        In the order they are written.
    token : str
        Part of the temporary name.

    Raises
    ------
    OutputError
        The disk is full or fails.
    """
    document = {**head, "frames": list(frames)}
    content = json.dumps(document, indent=1, sort_keys=True, allow_nan=False) + "\n"
    write_whole(folder, MANIFEST, content.encode(), token)


def _record(line: bytes) -> Record | None:
    try:
        record = json.loads(line)
    except ValueError:
        return None
    if not isinstance(record, dict):
        return None
    named = isinstance(record.get("stage"), str) and isinstance(record.get("item"), str)
    return record if named else None


def _not_added(path: Path, seen: str) -> OutputError:
    return OutputError(
        "a finished item can't be entered in the manifest",
        place=Place(file=str(path)),
        seen=seen,
        expected="a line on the disk",
        remedy="Make room or mount the storage; the item is entered again.",
    )
