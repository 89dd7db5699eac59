"""A folder of passes, or one camera card, becomes a starter job: read from top to bottom."""

import os
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from glimsum_jobs.errors import GlimsumError, SourceError
from glimsum_jobs.paths import RootPath
from glimsum_jobs.problems import Place
from glimsum_workers.draft.guesses import guess_use
from glimsum_workers.draft.job_lines import Question
from glimsum_workers.draft.look_over import look_over, measure
from glimsum_workers.draft.looks import Look, measure_light
from glimsum_workers.draft.naming import name_pieces, pass_name
from glimsum_workers.draft.numbering import escape
from glimsum_workers.draft.pass_lines import DraftPass
from glimsum_workers.draft.pieces import Piece, group_folders, split_card
from glimsum_workers.draft.records import CameraSetting, ClipTags, Record
from glimsum_workers.draft.starter import write_starter
from glimsum_workers.frames.facts import Facts, read_facts
from glimsum_workers.frames.limits import endings_known, kind_by_name
from glimsum_workers.frames.roots import Roots

MOST_FILES = 100_000
_ROOT = "drafted"
_MOST_NAMED = 3


@dataclass(frozen=True)
class PieceLooks:
    """Small pictures of one pass of the draft, for its contact sheet."""

    name: str
    looks: tuple[Look, ...]


@dataclass(frozen=True)
class Draft:
    """A starter job.

    Attributes
    ----------
    job_text : str
        YAML; paths are relative to the folder the job file is meant for.
    questions : tuple of Question
        What a person has to answer, in the order of the text.
    sheets : tuple of PieceLooks
        For a contact sheet a pass, in the order of the passes.
    """

    job_text: str
    questions: tuple[Question, ...]
    sheets: tuple[PieceLooks, ...]


def draft_shot(folder: Path, *, shot: str = "", before_path: str = "") -> Draft:
    """Draft a job from what lies in a folder.

    Parameters
    ----------
    folder : Path
        With one folder or clip a pass, or one card with everything in one folder.
    shot : str
        Name of the shot; the folder's name where empty.
    before_path : str
        Put before every path of the job: ``passes/`` where the job file will lie beside the
        folder ``passes``, or a root such as ``plates:mole_040/``.

    Returns
    -------
    Draft
        The job with its questions, and pictures of every pass.

    Raises
    ------
    SourceError
        The folder is missing, holds no picture that can be read, or more than 100 000 files.
    """
    roots = Roots({_ROOT: folder})
    records, notes = _read_records(roots, _find_files(folder))
    if not records:
        raise SourceError(
            "there is nothing to draft a job from",
            place=Place(file=str(folder)),
            seen="; ".join(notes) or "no files",
            expected=f"pictures or clips ({endings_known()})",
            remedy="Name the folder that holds the passes, or the card.",
        )
    pieces = name_pieces(_cut(records))
    passes: list[DraftPass] = []
    sheets: list[PieceLooks] = []
    for place, piece in enumerate(pieces, start=1):
        path = RootPath(_ROOT, piece.files)
        looks, trouble = look_over(roots, path, piece)
        notes += trouble
        guess = guess_use(piece.name, measure_light(looks))
        name = pass_name(piece.name or f"pass_{place}", [each.name for each in passes])
        placed = replace(piece, files=escape(before_path) + piece.files)
        found = measure(roots, path, piece, guess.use)
        passes.append(
            DraftPass(name, placed, guess.use, guess.question, found.flicker, found.backing)
        )
        sheets.append(PieceLooks(name, tuple(looks)))
    text, questions = write_starter(shot or folder.resolve().name, passes, notes)
    return Draft(text, tuple(questions), tuple(sheets))


def _find_files(folder: Path) -> list[str]:
    """Return all files below the folder, hidden ones left out; links to folders not followed."""
    found: list[str] = []
    for here, folders, files in os.walk(folder):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        below = Path(here).relative_to(folder)
        found += [(below / name).as_posix() for name in sorted(files) if name[0] != "."]
        if len(found) > MOST_FILES:
            raise SourceError(
                "this folder holds too many files for one shot",
                place=Place(file=str(folder)),
                seen=f"more than {MOST_FILES} files",
                expected=f"{MOST_FILES} files at most",
                remedy="Draft one shot at a time.",
            )
    return found


def _read_records(roots: Roots, files: Sequence[str]) -> tuple[list[Record], list[str]]:
    records: list[Record] = []
    others: Counter[str] = Counter()
    bad: list[str] = []
    for file in files:
        try:
            kind_by_name(file)
        except SourceError:
            others[f"files *{Path(file).suffix.lower()}"] += 1
            continue
        try:
            file.encode("utf-8")
            records.append(_record_of(file, read_facts(roots, RootPath(_ROOT, file))))
        except (GlimsumError, UnicodeEncodeError) as error:
            what = error.what if isinstance(error, GlimsumError) else "its name is not UTF-8"
            bad.append(f"left out {file!a}: {what}")
    notes = [f"left out, {ending}: {count} of them" for ending, count in sorted(others.items())]
    notes += bad[:_MOST_NAMED]
    if len(bad) > _MOST_NAMED:
        notes.append(f"left out: {len(bad) - _MOST_NAMED} more files that can't be read")
    return records, notes


def _record_of(file: str, facts: Facts) -> Record:
    told = facts.exposure
    setting = None
    if told.seconds and told.f_number and told.iso:
        setting = CameraSetting(told.seconds, told.f_number, told.iso)
    clip = facts.clip
    return Record(
        path=file,
        kind=facts.kind,
        width=facts.width,
        height=facts.height,
        bits=facts.bits,
        pictures=clip.count if clip else 1,
        setting=setting,
        captured=_time_of(facts.captured),
        clip=ClipTags(clip.rate, clip.range, clip.transfer) if clip else None,
    )


def _time_of(captured: str | None) -> datetime | None:
    try:
        # EXIF 2.3: local time of the camera, no zone
        return datetime.strptime(captured or "", "%Y:%m:%d %H:%M:%S")  # noqa: DTZ007  -- as above
    except ValueError:
        return None


def _cut(records: Sequence[Record]) -> list[Piece]:
    """Take numbered stills that all lie in one folder for a card, anything else for folders."""
    names = Counter(Path(each.path).parent for each in records if each.clip is None)
    sequences = [folder for folder, count in names.items() if count > 1]
    if len(sequences) != 1:
        return group_folders(records)
    return split_card(records)
