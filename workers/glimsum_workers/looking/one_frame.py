"""One frame here and now, without queue, ledger or version folder: to look at while deciding."""

from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path

from glimsum_jobs.errors import JobError
from glimsum_jobs.measurements import Checked, Solved
from glimsum_jobs.plan import dead_frames
from glimsum_jobs.problems import Place, Problem, Rank, stops_shot
from glimsum_jobs.settled import settled
from glimsum_jobs.shot import ShotJob
from glimsum_workers.check_shot import check_shot
from glimsum_workers.combine_frame import ShotBench
from glimsum_workers.engine.codes import Image, Plane
from glimsum_workers.engine.resample.window import Window
from glimsum_workers.engine.viewing import DisplayCodes
from glimsum_workers.footage.material import Material
from glimsum_workers.frames.kept import Keep
from glimsum_workers.frames.masters import MasterAttributes
from glimsum_workers.frames.roots import Roots
from glimsum_workers.light.kept_passes import LightRoom, open_light_store
from glimsum_workers.light.look import Look
from glimsum_workers.measure_item import measure_all
from glimsum_workers.solve_shot import solve_shot
from glimsum_workers.writing.frame_fingerprint import fingerprint_of
from glimsum_workers.writing.master_attributes import attributes_of


@dataclass(frozen=True)
class Still:
    """One combined frame.

    Attributes
    ----------
    rgb : Image
        Scene-linear, working space.
    alpha : Plane or None
        Coverage 0..1.
    display : uint8 array, (height, width, 3)
        Through the job's view, at its viewing width.
    problems : tuple of Problem
        Remarks of check and measuring.
    attributes : MasterAttributes
        What a master of it says of itself.
    window : Window
        Its data window.
    """

    rgb: Image
    alpha: Plane | None
    display: DisplayCodes
    problems: tuple[Problem, ...]
    attributes: MasterAttributes
    window: Window


def make_still(job: ShotJob, frame: int, roots: Roots, keep_folder: Path) -> Still:
    """Check, measure and combine one frame in this process.

    Parameters
    ----------
    job : ShotJob
        Every path in it is ``root:path``.
    frame : int
        Shot frame.
    roots : Roots
        Where this machine has the roots.
    keep_folder : Path
        Where measurements are kept, so that the next still of the shot is quick.

    Returns
    -------
    Still
        The same pixels the service would make.

    Raises
    ------
    JobError
        The check stops the shot, or this frame; holds all problems.
    """
    with open_bench(job, frame, roots, keep_folder) as bench:
        made = bench.combine(frame, lambda: None)
        fingerprint = fingerprint_of(bench, frame)
        attributes = attributes_of(bench.job, frame, bench.material, fingerprint, bench.solved)
    look = Look(job)
    light = look.in_master(made.picture.rgb)
    return Still(
        rgb=light,
        alpha=made.picture.alpha,
        display=look.of_master(light, job.viewing.width),
        problems=problems_of(bench),
        attributes=attributes,
        window=made.window,
    )


@contextmanager
def open_bench(
    job: ShotJob, frame: int, roots: Roots, keep_folder: Path, room: LightRoom | None = None
) -> Iterator[ShotBench]:
    """Check and measure a shot here; give the bench on which one of its frames is made.

    With `room` the light of its passes is read where it was kept, and kept if the job asks.

    Raises
    ------
    JobError
        The check stops the shot, or this frame; holds all problems.
    """
    keep = Keep(keep_folder)
    checked = check_shot(job, roots, keep)
    refuse_frame(job, frame, checked)
    solved = measure_here(settled(job, checked), checked, roots, keep)
    with lay_out_bench(job, checked, solved, roots, keep_folder, room) as bench:
        yield bench


@contextmanager
def lay_out_bench(  # noqa: PLR0917  # a shot with what was found of it, and where everything is
    job: ShotJob,
    checked: Checked,
    solved: Solved,
    roots: Roots,
    keep_folder: Path,
    room: LightRoom | None = None,
) -> Iterator[ShotBench]:
    """Give the bench of a shot that was checked and measured; `room` as in `open_bench`."""
    job, store = settled(job, checked), None
    if room is not None:
        store = open_light_store(job, checked, keep_folder, room, version=1)
    bench = ShotBench(job, checked, solved, roots, Keep(keep_folder), store)
    with closing(bench):
        yield bench


def problems_of(bench: ShotBench) -> tuple[Problem, ...]:
    """Return what check and measuring told."""
    return (*bench.checked.problems, *bench.solved.problems)


def measure_here(job: ShotJob, checked: Checked, roots: Roots, keep: Keep) -> Solved:
    """Do all items of measuring one after the other and solve them."""
    with Material(job, checked, roots) as material:
        return solve_shot(job, measure_all(job, material, keep), material, keep)


def refuse_frame(job: ShotJob, frame: int, checked: Checked) -> None:
    """Raise JobError, with all problems, where the check stops the shot or a frame."""
    problems = stops_shot(list(checked.problems))
    if frame not in job.frames.numbers:
        problems.append(
            Problem(
                rank=Rank.STOPS_FRAME,
                what="the shot has no such frame",
                place=Place(shot=job.shot, frame=frame),
                seen=str(frame),
                expected=f"{job.frames.first} to {job.frames.last}",
                remedy="Name a frame of the shot.",
            )
        )
    if frame in dead_frames(checked):
        problems += [p for p in checked.problems if p.place.frame == frame]
    if problems:
        raise JobError(f"frame {frame} of shot {job.shot} can't be made", problems)
