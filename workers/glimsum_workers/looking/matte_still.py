"""A matte of one frame, to look at."""

from dataclasses import replace
from pathlib import Path

import numpy as np

from glimsum_jobs.errors import JobError
from glimsum_jobs.problems import Place, Problem, Rank
from glimsum_jobs.shot import ShotJob
from glimsum_workers.engine.resample.window import Window
from glimsum_workers.footage.digests import digest_of
from glimsum_workers.frames.previews import shrink
from glimsum_workers.frames.roots import Roots
from glimsum_workers.looking.one_frame import Still, open_bench, problems_of
from glimsum_workers.steps.on_frame import OnFrame
from glimsum_workers.writing.frame_fingerprint import matte_fingerprint
from glimsum_workers.writing.master_attributes import attributes_of


def make_matte_still(job: ShotJob, name: str, frame: int, roots: Roots, keep_folder: Path) -> Still:
    """Check, measure and make one matte of one frame in this process.

    Parameters
    ----------
    job : ShotJob
        Every path in it is ``root:path``.
    name : str
        A matte of the job.
    frame : int
        Shot frame.
    roots : Roots
        Where this machine has the roots.
    keep_folder : Path
        Where measurements are kept.

    Returns
    -------
    Still
        Its light is the weight in R, G and B, without coverage; its display codes are the
        weight times 255, through no view.

    Raises
    ------
    JobError
        There is no such matte, or the check stops the shot or this frame.
    """
    if name not in job.mattes:
        raise JobError(
            f"matte {name} of shot {job.shot} can't be made", [_unknown(job, name, frame)]
        )
    with open_bench(_needing(job, name), frame, roots, keep_folder) as bench:
        weight = bench.matte(name, OnFrame(frame))
        fingerprint = digest_of(matte_fingerprint(bench, name, frame))
        attributes = attributes_of(bench.job, frame, bench.material, fingerprint, bench.solved)
    rgb = np.repeat(weight[..., None], 3, axis=2)
    codes = np.rint(np.clip(shrink(rgb, job.viewing.width), 0, 1) * 255).astype(np.uint8)
    return Still(
        rgb=rgb,
        alpha=None,
        display=codes,
        problems=problems_of(bench),
        attributes=replace(attributes, color_interop_id="data"),
        window=Window.whole(weight.shape),
    )


def _needing(job: ShotJob, name: str) -> ShotJob:
    """Return a job whose recipe needs a matte, so that all it is made of is measured."""
    if any(name in job.mattes_in(step) for step in job.steps):
        return job
    first, *rest = job.steps
    again = first.model_copy(update={"matte": name})
    return job.model_copy(update={"recipe": (first, *rest, again)})


def _unknown(job: ShotJob, name: str, frame: int) -> Problem:
    return Problem(
        rank=Rank.STOPS_FRAME,
        what=f"there is no matte called {name}",
        place=Place(shot=job.shot, frame=frame, field=f"mattes.{name}"),
        seen=name,
        expected=" or ".join(sorted(job.mattes)) or "a job with mattes",
        remedy="Name a matte of the job.",
    )
