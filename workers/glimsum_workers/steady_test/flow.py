"""The steady test of a shot, from its check to what a person should know before the set is struck.

Register every frame, solve, gather what is left by region, lay pictures over each other.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from glimsum_jobs.errors import JobError, LightError, SourceError
from glimsum_jobs.follows import Follow
from glimsum_jobs.measurements import Checked, Solved
from glimsum_jobs.plan import dead_frames, measure_items, used_passes
from glimsum_jobs.problems import Problem, Rank, stops_shot
from glimsum_jobs.settled import settled
from glimsum_jobs.shot import ShotJob
from glimsum_jobs.tracks import PassTrack
from glimsum_workers.footage.material import Material
from glimsum_workers.frames.roots import Roots
from glimsum_workers.measure_item import PLACES, measure_item
from glimsum_workers.measuring.measured import Measured
from glimsum_workers.solving.follows import solve_follows, tell_follows
from glimsum_workers.solving.track_remarks import tell_places
from glimsum_workers.solving.tracks import solve_tracks
from glimsum_workers.steady_test.leftover import leftover_of
from glimsum_workers.steady_test.overlay import Overlay, overlay_of
from glimsum_workers.steady_test.parallax import tell_parallax
from glimsum_workers.steady_test.regions import Left
from glimsum_workers.steady_test.tiles import TileKeep


@dataclass(frozen=True)
class SteadyTest:
    """What the steady test of a shot told.

    Attributes
    ----------
    job : ShotJob
        The shot with every start offset a number; passes with ``align: none`` are measured as
        ``similarity``.
    checked : Checked
        What the check found, start offsets with their scores included.
    tracks : dict of str to PassTrack
        By pass, the reference of a locked camera included.
    follows : dict of str to Follow
        What inserts, mattes and elements follow on the reference, as in `Solved`.
    left : dict of str to Left
        What is left after alignment, by pass; a pass that tells nothing is missing.
    overlays : dict of str to Overlay
        By pass, without the reference.
    unmeasured : dict of str to str
        Lamp passes that were not measured, and why, in words.
    problems : tuple of Problem
        Of the check, frames whose files can't be read, and remarks on the tracks.
    """

    job: ShotJob
    checked: Checked
    tracks: dict[str, PassTrack]
    follows: dict[str, Follow]
    left: dict[str, Left]
    overlays: dict[str, Overlay]
    unmeasured: dict[str, str]
    problems: tuple[Problem, ...]


def run_steady_test(job: ShotJob, checked: Checked, roots: Roots, keep_folder: Path) -> SteadyTest:
    """Measure where every lamp pass and silhouette of a job lies.

    Parameters
    ----------
    job : ShotJob
        Every path in it is ``root:path``. Passes with ``align: none`` are measured too.
    checked : Checked
        What the check found of it; it must not stop the shot.
    roots : Roots
        Where this machine has the roots.
    keep_folder : Path
        Where prepared pictures are kept for the next test.

    Returns
    -------
    SteadyTest
        Tracks by pass, what is left, pictures of before and after, remarks.

    Raises
    ------
    JobError
        The check stops the shot.
    """
    keep = TileKeep(keep_folder)
    stops = stops_shot(list(checked.problems))
    if stops:
        raise JobError(f"shot {job.shot} can't be measured", stops)
    asked = _all_aligned(settled(job, checked))
    with Material(asked, checked, roots) as material:
        measured, aside = _measure(asked, material, keep)
        tracks = solve_tracks(asked, measured.tracked, checked, measured.aligned)
        whole = checked.passes[asked.reference_pass]
        follows = solve_follows(asked, measured.followed, tracks, (whole.height, whole.width))
        solved = Solved(averages={}, levels={}, tracks=tracks, follows=follows, revision="")
        left = _left(asked, measured, solved, keep=keep, checked=checked)
        overlays = {
            name: laid for name in tracks if (laid := overlay_of(asked, name, solved, material))
        }
    problems = (
        *checked.problems,
        *aside,
        *tell_places(asked, measured, tracks, dead_frames(checked)),
        *tell_parallax(asked, left),
        *tell_follows(asked, measured.followed, follows),
    )
    return SteadyTest(
        job=asked,
        checked=checked,
        tracks=tracks,
        follows=follows,
        left=left,
        overlays=overlays,
        unmeasured=_unmeasured(asked, tracks),
        problems=problems,
    )


def _measure(job: ShotJob, material: Material, keep: TileKeep) -> tuple[Measured, list[Problem]]:
    """Measure every place; a file that can't be read sets its frame aside, as in the farm.

    A patch that can't be followed is told of.
    """
    measured, aside = Measured(), list[Problem]()
    for item in measure_items(job, material.checked):
        if item.partition(":")[0] in PLACES:
            try:
                measured.add(measure_item(job, item, material, keep))
            except SourceError as error:
                aside.append(error.problem(Rank.STOPS_FRAME, shot=job.shot))
            except LightError as error:
                aside.append(error.problem(Rank.REMARK, shot=job.shot))
    return measured, list(dict.fromkeys(aside))


def _left(
    job: ShotJob, measured: Measured, solved: Solved, *, keep: TileKeep, checked: Checked
) -> dict[str, Left]:
    left = {}
    for name in solved.tracks:
        found = checked.passes[name]
        size = (found.height, found.width)
        told = leftover_of(job, name, measured, solved, keep=keep, size=size)
        if told is not None:
            left[name] = told
    return left


def _all_aligned(job: ShotJob) -> ShotJob:
    """Return the job with every used pass that gives light allowed to have drifted."""
    passes = {
        name: each.model_copy(update={"align": "similarity"})
        if each.use is None and each.align == "none" and name in _wanted(job)
        else each
        for name, each in job.passes.items()
    }
    return job.model_copy(update={"passes": passes})


def _wanted(job: ShotJob) -> set[str]:
    return set(used_passes(job))


def _unmeasured(job: ShotJob, tracks: Mapping[str, PassTrack]) -> dict[str, str]:
    told = {}
    for name, each in job.passes.items():
        if each.use is not None or name == job.reference_pass:
            continue
        if name not in _wanted(job):
            told[name] = "no step of the recipe uses it"
        elif name not in tracks:
            told[name] = "its lamp is out, or its frames are dead, on every frame of the shot"
    return told
