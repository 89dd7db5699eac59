"""One frame of a job made and written here: finished, one of its mattes, or step by step."""

import os
from collections.abc import Mapping
from pathlib import Path

from glimsum_jobs.problems import Problem
from glimsum_jobs.shot import ShotJob
from glimsum_services.workshop.folders import make_folder
from glimsum_workers.frames.masters import write_master
from glimsum_workers.frames.previews import Display, encode_picture
from glimsum_workers.frames.roots import Roots
from glimsum_workers.frames.sheets import Labelled, write_sheet
from glimsum_workers.frames.whole import nothing_to_ask, write_whole
from glimsum_workers.looking.matte_still import make_matte_still
from glimsum_workers.looking.one_frame import Still, make_still, open_bench, problems_of
from glimsum_workers.looking.step_pictures import draw_steps

PICTURES = {".jpg": "JPEG", ".png": "PNG"}
"""Endings of stills to look at."""
STEP_WIDTH_PX = 640
"""Pictures of a sheet of steps."""


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
    make_folder(keep_folder, "measurements can't be kept")
    still = make_still(job, frame, Roots(roots), keep_folder)
    if out.suffix.lower() in PICTURES:
        _write_picture(still.display, out)
    else:
        _write_light(job, still, out)
    return still.problems


def write_matte(  # noqa: PLR0917  # a still, and which matte
    job: ShotJob, name: str, frame: int, roots: Mapping[str, Path], out: Path, keep_folder: Path
) -> tuple[Problem, ...]:
    """Write a matte of one frame: its weights 0..1, as they are in ``.exr``, else as codes 0..255.

    Parameters
    ----------
    job : ShotJob
        Every path in it is ``root:path``.
    name : str
        A matte of the job.
    frame : int
        Shot frame.
    roots : mapping of str to Path
        The roots.
    out : Path
        The file; its folder must exist.
    keep_folder : Path
        Where measurements are kept; made if absent.

    Returns
    -------
    tuple of Problem
        Remarks of check and measuring.

    Raises
    ------
    JobError
        There is no such matte, or the check stops the shot or this frame.
    OutputError
        The file can't be written whole.
    """
    make_folder(keep_folder, "measurements can't be kept")
    still = make_matte_still(job, name, frame, Roots(roots), keep_folder)
    if out.suffix.lower() in PICTURES:
        _write_picture(still.display, out)
    else:
        _write_light(job, still, out)
    return still.problems


def write_steps(
    job: ShotJob, frame: int, roots: Mapping[str, Path], out: Path, keep_folder: Path
) -> tuple[Problem, ...]:
    """Write a contact sheet of one frame: each step alone, and the picture so far.

    Parameters
    ----------
    job : ShotJob
        Every path in it is ``root:path``.
    frame : int
        Shot frame.
    roots : mapping of str to Path
        The roots.
    out : Path
        A name that ends in ``.jpg`` or ``.png``; its folder must exist.
    keep_folder : Path
        Where measurements are kept; made if absent.

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
    make_folder(keep_folder, "measurements can't be kept")
    with open_bench(job, frame, Roots(roots), keep_folder) as bench:
        drawn = draw_steps(bench, frame, STEP_WIDTH_PX)
        told = problems_of(bench)
    pictures = [
        labelled
        for each in drawn
        for labelled in (
            Labelled(f"{each.label}: alone", each.alone),
            Labelled(f"{each.label}: so far", each.so_far),
        )
    ]
    title = f"{job.shot}, frame {frame}, step by step"
    folder = out.absolute().parent
    write_sheet(folder, out.name, pictures, columns=2, title=title, token=_token())
    return told


def _token() -> str:
    return f"still{os.getpid()}"


def _write_picture(display: Display, out: Path) -> None:
    picture = encode_picture(display, PICTURES[out.suffix.lower()], str(out))
    write_whole(out.absolute().parent, out.name, picture, _token(), nothing_to_ask)


def _write_light(job: ShotJob, still: Still, out: Path) -> None:
    master = job.masters[0]
    write_master(
        out.absolute().parent,
        out.name,
        still.rgb,
        still.alpha,
        still.attributes,
        compression=master.compression,
        pixel=master.pixel,
        window=still.window,
        token=_token(),
    )
