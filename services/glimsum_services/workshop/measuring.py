"""The steady test of a job, with its plots and pictures, here."""

import json
import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from glimsum_jobs.errors import JobError, OutputError
from glimsum_jobs.measurements import Checked
from glimsum_jobs.problems import Place, Problem, Rank, stops_shot
from glimsum_jobs.shot import ShotJob
from glimsum_services.workshop.folders import make_folder
from glimsum_workers.check_shot import check_shot
from glimsum_workers.frames.kept import Keep
from glimsum_workers.frames.previews import encode_picture
from glimsum_workers.frames.roots import Roots
from glimsum_workers.frames.whole import nothing_to_ask, write_whole
from glimsum_workers.steady_test.flow import SteadyTest, run_steady_test
from glimsum_workers.steady_test.parallax import misfit_of
from glimsum_workers.steady_test.pictures import KINDS, draw_all, plot_offsets
from glimsum_workers.writing.track_files import TRACKS, write_tracks

MEASUREMENTS = "measurements.json"
"""What a steady test told, beside its pictures."""


@dataclass(frozen=True)
class MeasuredHere:
    """What a steady test left behind."""

    told: SteadyTest
    misfits: Mapping[str, float]
    """By pass: what is left in its regions over their sigma."""
    pictures: Mapping[str, Mapping[str, str]]
    """By pass and kind: names of the pictures in the folder."""


def measure_here(
    job: ShotJob, roots: Mapping[str, Path], keep_folder: Path, out: Path | None
) -> MeasuredHere:
    """Measure where every pass of a job lies; write plots, pictures and tracks into `out`.

    Parameters
    ----------
    job : ShotJob
        Every path in it is ``root:path``.
    roots : mapping of str to Path
        The roots.
    keep_folder : Path
        Where prepared pictures are kept.
    out : Path or None
        Folder for the pictures, made if absent; None draws none.

    Returns
    -------
    MeasuredHere
        What the test told, and the files written. Pictures of an earlier test of the shot that
        are not drawn any more are removed.

    Raises
    ------
    JobError
        The check stops the shot.
    OutputError
        The folder holds another shot, or a picture can't be written whole.
    """
    make_folder(keep_folder, "measurements can't be kept")
    if out is not None:
        make_folder(out, "the pictures of the steady test can't be written")
        _refuse_other_shot(out, job.shot)
    checked = check_shot(job, Roots(roots), Keep(keep_folder))
    if checked.refused and out is not None:
        raise JobError(
            f"shot {job.shot} can't be measured",
            [*stops_shot(list(checked.problems)), *_draw_offsets(job, checked, out)],
        )
    told = run_steady_test(job, checked, Roots(roots), keep_folder)
    misfits = {name: misfit_of(left) for name, left in told.left.items()}
    pictures = {} if out is None else _draw_pictures(told, out)
    if out is not None and told.follows:
        tracks = out / TRACKS
        make_folder(tracks, "the tracks can't be written")
        write_tracks(told.job, told.follows, tracks, f"measure{os.getpid()}")
    return MeasuredHere(told, misfits, pictures)


def write_measurements(out: Path, document: str) -> None:
    """Write what was measured beside its pictures, whole or not at all."""
    content = document.encode()
    write_whole(out, MEASUREMENTS, content, f"measure{os.getpid()}", nothing_to_ask)


def _draw_pictures(told: SteadyTest, out: Path) -> dict[str, dict[str, str]]:
    pictures: dict[str, dict[str, str]] = {name: {} for name in told.tracks}
    for name, kind, picture in draw_all(told):
        file = f"{name}_{kind}.png"
        content = encode_picture(picture, "PNG", file)
        write_whole(out, file, content, f"measure{os.getpid()}", nothing_to_ask)
        pictures[name][kind] = file
    for name in told.job.passes:
        for kind in KINDS:
            if kind not in pictures.get(name, {}):
                (out / f"{name}_{kind}.png").unlink(missing_ok=True)
    return pictures


def _draw_offsets(job: ShotJob, checked: Checked, out: Path) -> list[Problem]:
    """Draw the scores of start offsets: a person who is asked for one must see them."""
    drawn = []
    for name, found in checked.passes.items():
        if found.sync is not None and found.sync.scores:
            file = f"{name}_offset.png"
            picture = plot_offsets(name, found.sync, found.start_offset)
            content = encode_picture(picture, "PNG", file)
            write_whole(out, file, content, f"measure{os.getpid()}", nothing_to_ask)
            drawn.append(
                Problem(
                    rank=Rank.REMARK,
                    what="the scores of the start offsets that were tried are drawn",
                    place=Place(shot=job.shot, pass_name=name, file=str(out / file)),
                )
            )
    return drawn


def _refuse_other_shot(out: Path, shot: str) -> None:
    """Names of pictures don't hold that of the shot, so a folder is for one shot."""
    file = out / MEASUREMENTS
    try:
        other = json.loads(file.read_bytes())["shot"]
    except (OSError, ValueError, KeyError, TypeError):
        return
    if other != shot:
        raise OutputError(
            "this folder holds the measurements of another shot",
            place=Place(shot=shot, file=str(file)),
            seen=f"shot {other}",
            expected=f"an empty folder, or one of shot {shot}",
            remedy="Name another folder with --out.",
        )
