"""A wedge made and written here: a contact sheet, and beside it what each cell would change."""

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from glimsum_jobs.orders import KEPT
from glimsum_jobs.paths import parse_root_path
from glimsum_jobs.problems import Problem
from glimsum_jobs.shot import ShotJob
from glimsum_jobs.varied import Varied
from glimsum_jobs.wedges import Wedge, describe_wedge
from glimsum_services.workshop.folders import make_folder
from glimsum_workers.frames.roots import Roots
from glimsum_workers.light.kept_passes import LightRoom
from glimsum_workers.looking.wedge_sheet import WedgePlace
from glimsum_workers.looking.wedge_sheet import write_wedge as write_wedge_here

MIB = 1024 * 1024


@dataclass(frozen=True)
class WedgeAsked:
    """What is to be tried.

    Attributes
    ----------
    varied : sequence of Varied
        One or two values.
    frames : sequence of int
        Shot frames.
    width : int
        Largest width of a picture, pixels.
    out : Path
        The sheet, ``.jpg`` or ``.png``; its folder exists. A file of the same name that ends in
        ``.json`` is written beside it.
    job_file : Path
        The job file, noted for whoever picks a cell.
    """

    varied: Sequence[Varied]
    frames: Sequence[int]
    width: int
    out: Path
    job_file: Path


def write_wedge(  # noqa: PLR0917  # a wedge, and where everything is
    job: ShotJob,
    asked: WedgeAsked,
    roots: Mapping[str, Path],
    state_keep: Path,
    keep_mib: int,
    reserve_mib: int,
) -> tuple[Wedge, tuple[Problem, ...]]:
    """Make a wedge and write its sheet and its JSON.

    Parameters
    ----------
    job : ShotJob
        Every path in it is ``root:path``.
    asked : WedgeAsked
        What is to be tried.
    roots : mapping of str to Path
        The roots.
    state_keep : Path
        Where measurements are kept for shots the service has not made yet; made if absent.
    keep_mib, reserve_mib : int
        How much light may be kept, and room left on the disk, MiB.

    Returns
    -------
    wedge : Wedge
        What was written as JSON.
    problems : tuple of Problem
        Remarks of check and measuring.

    Raises
    ------
    JobError
        A value can't be varied so, or the check stops the shot or one of the frames.
    OutputError
        A file can't be written whole.
    """
    folder, out = asked.out.absolute().parent, asked.out
    made_of = os.path.relpath(asked.job_file.absolute(), folder)
    wedge = describe_wedge(job, asked.varied, asked.frames, asked.width, out.name, made_of)
    room = LightRoom(keep_mib * MIB, reserve_mib * MIB)
    kept = _kept(job, roots, state_keep)
    place = WedgePlace(Roots(roots), kept, room, folder, f"wedge{os.getpid()}")
    return wedge, write_wedge_here(wedge, job, place).problems


def _kept(job: ShotJob, roots: Mapping[str, Path], state_keep: Path) -> Path:
    """Return the folder of what is kept of the shot: that of its versions where it is there."""
    output = parse_root_path(job.output)
    kept = roots[output.root] / output.path / KEPT
    if kept.is_dir() and os.access(kept, os.W_OK | os.X_OK):
        return kept
    make_folder(state_keep, "measurements can't be kept")
    return state_keep
