"""The steady test: where every pass lies against the reference, with nothing combined."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from glimsum_jobs.errors import GlimsumError, JobError
from glimsum_jobs.measurements import Checked
from glimsum_jobs.plan import best_frame, hold_frame, used_passes
from glimsum_jobs.problems import Problem, stops_shot
from glimsum_jobs.shot import ShotJob
from glimsum_jobs.tracks import PassTrack
from glimsum_workers.check_shot import check_shot
from glimsum_workers.engine.codes import Image, Picture
from glimsum_workers.engine.motion import STILL, Motion
from glimsum_workers.engine.registration.prepared import prepare
from glimsum_workers.engine.resample.resample import resample
from glimsum_workers.frames.kept import Keep
from glimsum_workers.frames.plots import Line, draw_plot
from glimsum_workers.frames.previews import Display
from glimsum_workers.frames.roots import Roots
from glimsum_workers.material import Material
from glimsum_workers.measure_item import PLACES, measure_all
from glimsum_workers.recorded import decode_pass
from glimsum_workers.solve_tracks import solve_tracks, track_remarks


@dataclass(frozen=True)
class Overlay:
    """Detail of the reference (red) and of a pass (green and blue) laid over each other.

    Where both lie on each other the sum is grey; a fringe of colour is what is left.
    """

    pass_name: str
    frame: int
    before: Display
    after: Display


@dataclass(frozen=True)
class SteadyTest:
    """What the steady test of a shot told."""

    job: ShotJob
    tracks: dict[str, PassTrack]
    overlays: tuple[Overlay, ...]
    problems: tuple[Problem, ...]


def run_steady_test(job: ShotJob, roots: Roots, keep_folder: Path) -> SteadyTest:
    """Measure where every lamp pass and silhouette of a job lies.

    Parameters
    ----------
    job : ShotJob
        Every path in it is ``root:path``. Passes with ``align: none`` are measured too.
    roots : Roots
        Where this machine has the roots.
    keep_folder : Path
        Where prepared pictures are kept for the next test.

    Returns
    -------
    SteadyTest
        Tracks by pass, pictures of before and after, remarks.

    Raises
    ------
    JobError
        The check stops the shot.
    """
    checked = check_shot(job, roots)
    stops = stops_shot(list(checked.problems))
    if stops:
        raise JobError(f"shot {job.shot} can't be measured", stops)
    asked = _all_aligned(job)
    keep = Keep(keep_folder)
    problems = list(checked.problems)
    with Material(asked, checked, roots) as material:
        measured = measure_all(asked, material, keep, PLACES)
        tracks = solve_tracks(asked, measured.tracked, checked, measured.aligned)
        overlays = _overlays(asked, tracks, checked, material)
    problems += track_remarks(asked, measured.tracked, measured.aligned, tracks)
    return SteadyTest(asked, tracks, tuple(overlays), tuple(problems))


def plot_track(name: str, track: PassTrack) -> Display:
    """Return the plot of a track: drift of each axis with its sigma, over the frames."""
    placed = list(track.frames.values())
    sigmas = [each.sigma_px for each in placed]
    lines = [
        Line("x, right", [each.dx for each in placed], sigmas),
        Line("y, down", [each.dy for each in placed], sigmas),
    ]
    return draw_plot(f"{name}: drift in pixels against the reference", list(track.frames), lines)


def _all_aligned(job: ShotJob) -> ShotJob:
    """Return the job with every used pass that gives light allowed to have drifted."""
    passes = {
        name: each.model_copy(update={"align": "similarity"})
        if each.use is None and each.align == "none" and name in _measured(job)
        else each
        for name, each in job.passes.items()
    }
    return job.model_copy(update={"passes": passes})


def _measured(job: ShotJob) -> set[str]:
    return {*used_passes(job), *job.silhouettes}


def _overlays(
    job: ShotJob, tracks: dict[str, PassTrack], checked: Checked, material: Material
) -> list[Overlay]:
    overlays = []
    hold = hold_frame(job, checked)
    for name, track in tracks.items():
        frame = best_frame(job, checked, name)
        placed = track.frames.get(frame)
        if name == job.reference_pass or placed is None:
            continue
        on = hold if job.camera == "locked" else frame
        try:
            reference = _light(job, job.reference_pass, on, material)
            picture = _light(job, name, frame, material)
        except GlimsumError:
            continue  # the check has named the file
        motion = Motion(placed.dx, placed.dy, placed.rotation_deg, placed.scale)
        overlays.append(
            Overlay(
                pass_name=name,
                frame=frame,
                before=_overlaid(reference, picture, STILL),
                after=_overlaid(reference, picture, motion),
            )
        )
    return overlays


def _light(job: ShotJob, name: str, frame: int, material: Material) -> Image:
    return decode_pass(job.passes[name], material.pass_codes(name, frame)).picture.rgb


def _overlaid(reference: Image, picture: Image, motion: Motion) -> Display:
    moved = resample(Picture(picture), motion).picture.rgb
    mine, its = _detail(reference), _detail(moved)
    return np.stack([mine, its, its], axis=2)


def _detail(picture: Image) -> Display:
    band = np.abs(prepare(picture).levels[0].band.astype(np.float32))
    top = float(np.percentile(band, 99)) or 1.0
    shown = np.sqrt(np.clip(band / top, 0, 1)) * 255
    return shown.round().astype(np.uint8)
