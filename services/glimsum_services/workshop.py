"""The second door to the workers: looking at a job here and now, without queue or service."""

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from glimsum_jobs.errors import OutputError
from glimsum_jobs.measurements import Checked
from glimsum_jobs.problems import Place, Problem
from glimsum_jobs.shot import ShotJob
from glimsum_jobs.tracks import PassTrack
from glimsum_workers.check_shot import check_shot
from glimsum_workers.draft.draft_shot import draft_shot
from glimsum_workers.draft.starter import Question
from glimsum_workers.frames.masters import write_master
from glimsum_workers.frames.previews import encode_picture
from glimsum_workers.frames.roots import Roots
from glimsum_workers.frames.sheets import Labelled, write_sheet
from glimsum_workers.frames.whole import nothing_to_ask, write_whole
from glimsum_workers.one_frame import Still, make_still
from glimsum_workers.steady_test import plot_track, run_steady_test

SHEET_COLUMNS = 4
PICTURES = {".jpg": "JPEG", ".png": "PNG"}
"""Endings of stills to look at."""


@dataclass(frozen=True)
class Drafted:
    """What a draft left behind."""

    questions: tuple[Question, ...]
    sheets: tuple[Path, ...]


def check_here(job: ShotJob, roots: Mapping[str, Path]) -> Checked:
    """Look at every file of a job; all its paths are ``root:path`` with these roots."""
    return check_shot(job, Roots(roots))


def write_still(
    job: ShotJob, frame: int, roots: Mapping[str, Path], out: Path, keep_folder: Path
) -> tuple[Problem, ...]:
    """Make one frame and write it: light as ``.exr``, a picture to look at as ``.jpg`` or ``.png``.

    Parameters
    ----------
    job : ShotJob
        Every path in it is ``root:path``.
    frame : int
        Shot frame.
    roots : mapping of str to Path
        The roots.
    out : Path
        The file; its folder must exist.
    keep_folder : Path
        Where measurements are kept for the next still; made if absent.

    Returns
    -------
    tuple of Problem
        Remarks of check and measuring.

    Raises
    ------
    JobError
        The check stops the shot or this frame.
    OutputError
        The file can't be written whole.
    """
    _make_folder(keep_folder, "measurements can't be kept")
    still = make_still(job, frame, Roots(roots), keep_folder)
    folder, token = out.absolute().parent, f"still{os.getpid()}"
    kind = PICTURES.get(out.suffix.lower())
    if kind is None:
        _write_light(job, still, out.absolute(), token)
    else:
        picture = encode_picture(still.display, kind, str(out))
        write_whole(folder, out.name, picture, token, nothing_to_ask)
    return still.problems


def _make_folder(folder: Path, what: str) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(
            what,
            place=Place(file=str(folder)),
            seen=error.strerror or str(error),
            expected="a folder we may write",
            remedy="Name another folder; measurements go where GLIMSUM_STATE_FOLDER says.",
        ) from error


def _write_light(job: ShotJob, still: Still, out: Path, token: str) -> None:
    master = job.masters[0]
    write_master(
        out.parent,
        out.name,
        still.rgb,
        still.alpha,
        still.attributes,
        compression=master.compression,
        pixel=master.pixel,
        window=still.window,
        token=token,
    )


@dataclass(frozen=True)
class MeasuredHere:
    """What a steady test left behind."""

    tracks: dict[str, PassTrack]
    problems: tuple[Problem, ...]
    pictures: tuple[Path, ...]


def measure_here(
    job: ShotJob, roots: Mapping[str, Path], keep_folder: Path, out: Path | None
) -> MeasuredHere:
    """Measure where every pass of a job lies; write plots and overlays into `out`.

    Parameters
    ----------
    job : ShotJob
        Every path in it is ``root:path``.
    roots : mapping of str to Path
        The roots.
    keep_folder : Path
        Where prepared pictures are kept.
    out : Path or None
        Folder for the pictures, made if absent; None writes none.

    Returns
    -------
    MeasuredHere
        Tracks, remarks, files written.

    Raises
    ------
    JobError
        The check stops the shot.
    OutputError
        A picture can't be written whole.
    """
    _make_folder(keep_folder, "measurements can't be kept")
    told = run_steady_test(job, Roots(roots), keep_folder)
    pictures = []
    if out is not None:
        _make_folder(out, "the pictures of the steady test can't be written")
        for overlay in told.overlays:
            name = f"{job.shot}_{overlay.pass_name}.{overlay.frame:04d}_steady.png"
            looks = [Labelled("before", overlay.before), Labelled("after", overlay.after)]
            write_sheet(
                out,
                name,
                looks,
                columns=1,
                title=f"{overlay.pass_name}, frame {overlay.frame}: grey lies on the reference",
                token=f"measure{os.getpid()}",
            )
            pictures.append(out / name)
        for name, track in told.tracks.items():
            picture = encode_picture(plot_track(name, track), "PNG", name)
            file = f"{job.shot}_{name}_drift.png"
            write_whole(out, file, picture, f"measure{os.getpid()}", nothing_to_ask)
            pictures.append(out / file)
    return MeasuredHere(told.tracks, told.problems, tuple(pictures))


def draft_here(folder: Path, job_file: Path, *, shot: str, before_path: str) -> Drafted:
    """Draft a job from a folder; write it and a contact sheet a pass beside it.

    Parameters
    ----------
    folder : Path
        Folders of passes, or one camera card.
    job_file : Path
        Where the job goes; the sheets go into ``NAME_sheets`` beside it.
    shot : str
        Name of the shot; empty: the folder's.
    before_path : str
        From the folder of the job file to `folder`, empty or with a slash at its end.

    Returns
    -------
    Drafted
        Questions, and the sheets written.

    Raises
    ------
    SourceError
        There is nothing to draft from.
    OutputError
        A file can't be written whole.
    """
    draft = draft_shot(folder, shot=shot, before_path=before_path)
    sheet_folder = job_file.absolute().parent / f"{job_file.stem}_sheets"
    try:
        sheet_folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(
            "the contact sheets can't be written",
            place=Place(file=str(sheet_folder)),
            seen=error.strerror or str(error),
            expected="a folder we may write",
            remedy="Name a job file elsewhere with --out.",
        ) from error
    sheets = []
    for each in draft.sheets:
        if not each.looks:
            continue
        pictures = [Labelled(look.label, look.picture) for look in each.looks]
        name = f"{each.name}.jpg"
        write_sheet(
            sheet_folder, name, pictures, columns=SHEET_COLUMNS, title=each.name, token="draft"
        )
        sheets.append(sheet_folder / name)
    text = draft.job_text.encode()
    write_whole(job_file.absolute().parent, job_file.name, text, "draft", nothing_to_ask)
    return Drafted(draft.questions, tuple(sheets))
