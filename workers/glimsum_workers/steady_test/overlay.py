"""A pass laid over the reference, as it was filmed and as it is brought back."""

from dataclasses import dataclass

import numpy as np

from glimsum_jobs.errors import GlimsumError
from glimsum_jobs.measurements import Solved
from glimsum_jobs.plan import best_frame, hold_frame
from glimsum_jobs.shot import ShotJob
from glimsum_workers.engine.codes import Image, Picture
from glimsum_workers.engine.metrics import as_plane
from glimsum_workers.engine.resample.resample import resample
from glimsum_workers.footage.material import Material
from glimsum_workers.footage.recorded import decode_pass
from glimsum_workers.frames.overlays import choose_cutouts, find_detail, lay_over, show_places
from glimsum_workers.frames.previews import Display, shrink
from glimsum_workers.frames.sheets import Labelled
from glimsum_workers.light.motions import motion_on

DIM_PX = 960
_DIM = 0.4
"""Share of full brightness that the brightest parts of a dim picture have."""


@dataclass(frozen=True)
class Overlay:
    """Detail of the reference (red) and of a pass (cyan) laid over each other.

    Attributes
    ----------
    frame : int
        Shot frame: the one on which the lamp burns most.
    looks : tuple of Labelled
        Pairs of before and after: the whole picture, then parts of it four times enlarged.
    dim_reference : Display
        The reference, grey and dim, at most 960 pixels wide.
    agreement_before, agreement_after : float
        Correlation of the two details, as filmed and as brought back.
    """

    frame: int
    looks: tuple[Labelled, ...]
    dim_reference: Display
    agreement_before: float
    agreement_after: float


def overlay_of(job: ShotJob, name: str, solved: Solved, material: Material) -> Overlay | None:
    """Lay a pass over the reference; None for the reference itself, or where a file is damaged.

    A locked camera's passes go on to the hold frame of the reference, as in the masters.
    """
    frame = best_frame(job, material.checked, name)
    motion = motion_on(solved, job, name, frame)
    if name == job.reference_pass or motion is None:
        return None
    on = hold_frame(job, material.checked) if job.camera == "locked" else frame
    try:
        reference = _light(job, job.reference_pass, on, material)
        picture = _light(job, name, frame, material)
    except GlimsumError:
        return None  # the check has named the file
    mine, its = find_detail(reference), find_detail(picture)
    moved = find_detail(resample(Picture(picture), motion).picture.rgb)
    before, after = lay_over(mine, its), lay_over(mine, moved)
    cutouts = choose_cutouts(mine, moved)
    looks = [
        Labelled(
            f"as filmed: agreement {before.agreement:.2f}", show_places(before.fringes, cutouts)
        ),
        Labelled(
            f"brought back: agreement {after.agreement:.2f}", show_places(after.fringes, cutouts)
        ),
    ]
    for cut in cutouts:
        looks.append(Labelled(f"{cut.letter}, as filmed, enlarged", cut.of(before.fringes)))
        looks.append(Labelled(f"{cut.letter}, brought back, enlarged", cut.of(after.fringes)))
    return Overlay(
        frame=frame,
        looks=tuple(looks),
        dim_reference=dim(reference),
        agreement_before=before.agreement,
        agreement_after=after.agreement,
    )


def dim(picture: Image) -> Display:
    """Return light as a dim grey picture to draw upon, at most 960 pixels wide."""
    grey = as_plane(shrink(picture, DIM_PX))
    top = float(np.percentile(grey, 99.0))
    codes = np.clip(grey / max(top, 1e-6), 0, 1) ** (1 / 2.2) * (255 * _DIM)
    return np.repeat(codes.round().astype(np.uint8)[..., np.newaxis], 3, axis=2)


def _light(job: ShotJob, name: str, frame: int, material: Material) -> Image:
    return decode_pass(job.passes[name], material.pass_codes(name, frame)).picture.rgb
