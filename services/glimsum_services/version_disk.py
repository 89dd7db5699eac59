"""What lies in version folders: found below the roots, read without ever leaving them."""

import json
import os
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from glimsum_jobs.errors import GlimsumError, SourceError
from glimsum_jobs.ledger import SINGLE_ITEM, Stage
from glimsum_jobs.left_behind import LeftBehind
from glimsum_jobs.orders import RunOrder
from glimsum_jobs.paths import RootPath, parse_root_path
from glimsum_jobs.problems import Place
from glimsum_services.folders import list_folder, open_file
from glimsum_services.submit import JOB_FILE, TEXT_FILE, digest_job

LINES = "lines"
MASTERS = "master"
MANIFEST = "manifest.json"
"""Names inside a version folder, as the workers make them."""

DEEPEST = 16
"""Folders below a root that are looked into, one in the other."""

_VERSION = re.compile(r"v\d{3,4}")


@dataclass(frozen=True)
class Lines:
    """What the workers of a version entered.

    Attributes
    ----------
    lines : tuple of LeftBehind
        In no particular order.
    torn : tuple of str
        Files with a line that can't be read.
    """

    lines: tuple[LeftBehind, ...]
    torn: tuple[str, ...]


def find_versions(roots: Mapping[str, Path]) -> list[RootPath]:
    """Return the folders of versions below the roots, each once, by path.

    Links are not followed, and nothing below a version is looked at.
    """
    found: dict[tuple[int, int], RootPath] = {}
    for name, folder in sorted(roots.items()):
        for path, identity in _walk(folder, RootPath(name, ""), 0):
            found.setdefault(identity, path)
    return sorted(found.values())


def _walk(folder: Path, here: RootPath, depth: int) -> Iterator[tuple[RootPath, tuple[int, int]]]:
    try:
        with os.scandir(folder) as entries:
            inner = sorted(
                (each for each in entries if each.is_dir(follow_symlinks=False)),
                key=lambda each: each.name,
            )
    except OSError:
        return
    for each in inner:
        path = here.child(each.name)
        if _VERSION.fullmatch(each.name) and (Path(each.path) / JOB_FILE).is_file():
            status = each.stat(follow_symlinks=False)
            yield path, (status.st_dev, status.st_ino)
        elif depth < DEEPEST and not each.name.startswith("."):
            yield from _walk(Path(each.path), path, depth + 1)


def read_order(roots: Mapping[str, Path], folder: RootPath) -> RunOrder:
    """Return the order of the version in `folder`.

    Raises
    ------
    SourceError
        It can't be read, was changed, or belongs to another folder.
    """
    file = folder.child(JOB_FILE)
    try:
        with open_file(roots, folder, JOB_FILE) as opened:
            order = RunOrder.model_validate_json(opened.read())
    except (OSError, ValidationError) as error:
        raise SourceError(
            "the job of a version can't be read",
            place=Place(file=str(file)),
            seen=str(error).partition("\n")[0],
            expected="a job of this release, as it was written",
            remedy="Submit the shot again; it becomes the next version.",
        ) from error
    place = Place(shot=order.shot, file=str(file))
    if not _is_same_folder(roots, order.folder, folder):
        raise SourceError(
            "this is a copy of a version, or a version that was moved",
            place=place,
            seen=str(folder),
            expected=order.folder,
            remedy="Put it back there, or set the root of that name to where it is now.",
        )
    if digest_job(order.job) != order.job_digest:
        raise SourceError(
            "the job of a version was changed after it was made",
            place=place,
            seen=f"SHA-256 {digest_job(order.job)}",
            expected=f"SHA-256 {order.job_digest}",
            remedy="Submit the changed job; it becomes the next version.",
        )
    return order


def read_text(roots: Mapping[str, Path], order: RunOrder) -> str:
    """Return the job as it was written, or as JSON where that was not kept."""
    try:
        with open_file(roots, parse_root_path(order.folder), TEXT_FILE) as opened:
            return opened.read().decode()
    except (GlimsumError, OSError, ValueError):
        return order.job.model_dump_json(by_alias=True, indent=1)


def read_lines(roots: Mapping[str, Path], order: RunOrder) -> Lines:
    """Return what the workers of a version entered; where no line is left, what its manifest tells.

    Raises
    ------
    PathError
        A link stands in the way, or the root is not there.
    """
    lines: list[LeftBehind] = []
    torn = []
    folder = parse_root_path(order.folder)
    for name in line_files(roots, order):
        with open_file(roots, folder.child(LINES), name) as file:
            told = [_line(text) for text in file.read().split(b"\n") if text]
        lines += [line for line in told if line is not None]
        if None in told:
            torn.append(name)
    return Lines(tuple(lines or _from_manifest(roots, folder)), tuple(torn))


def line_files(roots: Mapping[str, Path], order: RunOrder) -> Sequence[str]:
    """Return the names of the line files of a version, sorted; none before anything is done."""
    try:
        names = list_folder(roots, parse_root_path(order.folder).child(LINES))
    except SourceError:
        return []
    return [name for name in names if name.endswith(".jsonl")]


def _line(text: bytes) -> LeftBehind | None:
    try:
        return LeftBehind.model_validate_json(text)
    except ValidationError:
        return None


def _from_manifest(roots: Mapping[str, Path], folder: RootPath) -> Iterator[LeftBehind]:
    """Give what the manifest of a finished version tells, each stage under a token of its own."""
    try:
        with open_file(roots, folder, MANIFEST) as file:
            manifest = json.loads(file.read())
        whole = {"check": "checked", "solve": "solved", "finish": "finished"}
        results = {stage: manifest[name] for stage, name in whole.items()}
        frames = list(manifest["frames"])
    except (GlimsumError, OSError, ValueError, KeyError, TypeError):
        return
    ended = max((float(each["ended"]) for each in frames), default=0.0)
    for number, stage in enumerate((Stage.CHECK, Stage.SOLVE, Stage.COMBINE, Stage.FINISH)):
        told: list[dict[str, Any]] = [{"item": SINGLE_ITEM, "result": results.get(stage.value)}]
        if stage is Stage.COMBINE:
            told = [{"item": str(each["frame"]), "result": _bare(each), **each} for each in frames]
        for each in told:
            usual = {"worker": "", "ended": ended, "seconds": 0.0}
            yield LeftBehind.model_validate({**usual, **each, "stage": stage, "token": number})


def _bare(frame: Mapping[str, Any]) -> dict[str, Any]:
    return {k: v for k, v in frame.items() if k not in ("worker", "host", "ended")}


def _is_same_folder(roots: Mapping[str, Path], named: str, found: RootPath) -> bool:
    try:
        path = parse_root_path(named)
        return (roots[path.root] / path.path).samefile(roots[found.root] / found.path)
    except (GlimsumError, KeyError, OSError):
        return False
