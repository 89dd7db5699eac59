"""What earlier versions of a shot have finished, told by their folders alone."""

import json
import os
import re
from collections.abc import Iterator, Mapping
from typing import Any

from glimsum_jobs.errors import GlimsumError
from glimsum_jobs.paths import RootPath
from glimsum_workers.frames.manifest import MANIFEST
from glimsum_workers.frames.roots import Roots

MOST_BYTES = 1 << 30
"""Longest manifest or line file that is read; a hundred thousand frames take some 150 MB."""
MOST_VERSIONS = 20
"""Versions that are looked into, the newest first."""
_ENTERED = frozenset({"worker", "host", "ended"})
"""What a manifest tells of a frame besides what it left behind."""
_VERSION = re.compile(r"v(\d{3,4})")

Told = Mapping[str, Any]
"""What one finished frame left behind."""


def earlier_folders(roots: Roots, folder: RootPath) -> list[RootPath]:
    """Return the folders of the versions before the one in `folder`, the newest first.

    Raises
    ------
    GlimsumError
        The folder above can't be read.
    """
    own = _number(folder.name)
    if own is None:
        return []
    above = folder.folder
    numbers = {number: name for name in roots.list_folder(above)
               if (number := _number(name)) is not None and number < own}  # fmt: skip
    return [above.child(numbers[number]) for number in sorted(numbers, reverse=True)][
        :MOST_VERSIONS
    ]


def read_finished(roots: Roots, folder: RootPath, lines: str) -> dict[int, bytes]:
    """Return what each finished frame of a version left behind, by frame.

    Parameters
    ----------
    roots : Roots
        Where this machine has the roots.
    folder : RootPath
        Of the version.
    lines : str
        Name of its folder of line files: read where the version has no manifest, being
        unfinished, cancelled or still at work.

    Returns
    -------
    dict of int to bytes
        JSON as text, which takes a tenth of the memory of its values. What can't be read is left
        out: a frame that isn't found is made.
    """
    told = _from_manifest(roots, folder)
    if told is None:
        told = _from_lines(roots, folder.child(lines))
    return {int(each["frame"]): json.dumps(_bare(each)).encode() for each in told}


def _bare(told: Told) -> dict[str, Any]:
    return {name: value for name, value in told.items() if name not in _ENTERED}


def _number(name: str) -> int | None:
    found = _VERSION.fullmatch(name)
    return None if found is None else int(found[1])


def _from_manifest(roots: Roots, folder: RootPath) -> list[Told] | None:
    try:
        frames = json.loads(_read(roots, folder.child(MANIFEST)))["frames"]
        return [each for each in frames if isinstance(each["frame"], int)]
    except (GlimsumError, OSError, ValueError, KeyError, TypeError):
        return None


def _from_lines(roots: Roots, folder: RootPath) -> list[Told]:
    newest: dict[int, tuple[int, Told]] = {}
    for token, told in _lines(roots, folder):
        if newest.get(told["frame"], (-1, {}))[0] < token:
            newest[told["frame"]] = token, told
    return [told for _, told in newest.values()]


def _lines(roots: Roots, folder: RootPath) -> Iterator[tuple[int, Told]]:
    try:
        names = [name for name in roots.list_folder(folder) if name.endswith(".jsonl")]
    except GlimsumError:
        return
    for name in names:
        try:
            text = _read(roots, folder.child(name))
        except (GlimsumError, OSError):
            continue
        for line in text.split(b"\n"):
            try:
                record = json.loads(line)
                told = record["result"]
                if record["stage"] == "combine" and isinstance(told["frame"], int):
                    yield int(record["token"]), told
            except (ValueError, KeyError, TypeError):
                continue  # a torn line


def _read(roots: Roots, path: RootPath) -> bytes:
    with roots.opened(path) as descriptor, os.fdopen(os.dup(descriptor), "rb") as file:
        text = file.read(MOST_BYTES + 1)
    if len(text) > MOST_BYTES:
        raise ValueError(f"{path} is larger than {MOST_BYTES} bytes")
    return text
