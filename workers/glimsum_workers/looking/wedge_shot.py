"""A wedge: chosen frames of a shot with many gains, small, from sources that are made once."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from glimsum_jobs.errors import JobError
from glimsum_jobs.measurements import Checked, Solved
from glimsum_jobs.problems import Place, Problem, Rank
from glimsum_jobs.shot import ShotJob
from glimsum_jobs.wedges import measured_alike
from glimsum_workers.combine_frame import ShotBench
from glimsum_workers.engine.viewing import DisplayCodes
from glimsum_workers.frames.kept_light import LightStore
from glimsum_workers.frames.roots import Roots
from glimsum_workers.frames.sheets import LARGEST_SIDE_PX, sheet_size
from glimsum_workers.frames.whole import nothing_to_ask
from glimsum_workers.light.kept_passes import LIGHT, LightRoom
from glimsum_workers.light.look import Look
from glimsum_workers.looking.one_frame import lay_out_bench, open_bench, problems_of, refuse_frame
from glimsum_workers.looking.small_sources import SmallSources


@dataclass(frozen=True)
class WedgeFrame:
    """One frame in all cells.

    Attributes
    ----------
    frame : int
        Shot frame.
    pictures : tuple of DisplayCodes
        uint8 (height, width, 3), through the job's view, in the order of the cells.
    """

    frame: int
    pictures: tuple[DisplayCodes, ...]


@dataclass(frozen=True)
class WedgePictures:
    """All pictures of a wedge.

    Attributes
    ----------
    frames : tuple of WedgeFrame
        In the order asked for.
    problems : tuple of Problem
        Remarks of check and measuring.
    """

    frames: tuple[WedgeFrame, ...]
    problems: tuple[Problem, ...]


@dataclass(frozen=True)
class KnownShot:
    """What check and measuring found of a job: what is measured alike needs neither again.

    Attributes
    ----------
    job : ShotJob
        As it was submitted.
    checked : Checked
    solved : Solved
    """

    job: ShotJob
    checked: Checked
    solved: Solved


def make_wedge(  # noqa: PLR0917  # a wedge, and where everything is
    jobs: Sequence[ShotJob],
    frames: Sequence[int],
    roots: Roots,
    keep_folder: Path,
    room: LightRoom,
    width: int,
    *,
    columns: int = 1,
    known: KnownShot | None = None,
    ask: Callable[[], object] = nothing_to_ask,
) -> WedgePictures:
    """Make chosen frames with every one of several recipes, small.

    Parameters
    ----------
    jobs : sequence of ShotJob
        One a cell: the same shot with other gains and tints.
    frames : sequence of int
        Shot frames.
    roots : Roots
        Where this machine has the roots.
    keep_folder : Path
        Where measurements and small sources are kept; it exists.
    room : LightRoom
        How much light may be kept there.
    width : int
        Largest width of a picture, pixels; each new pixel is the mean of a whole number of them.
    columns : int
        Pictures a row of the sheet they are for.
    known : KnownShot, optional
        What check and measuring found of the shot; cells that are measured alike take it as it
        is, the others are checked and measured here.
    ask : callable, optional
        Asked before each picture; what it raises ends the work.

    Returns
    -------
    WedgePictures
        For every frame a picture a cell.

    Raises
    ------
    JobError
        The check stops the shot or one of the frames, or the sheet would be too large to be one
        picture; holds all problems.
    SourceError
        A file can't be read.
    LightError
        The numbers of a cell make no light; names pass and frame.
    """
    with ExitStack() as stack:
        benches: dict[Any, ShotBench] = {}
        cells: list[ShotBench] = []
        for job in jobs:
            alike = measured_alike(job)
            if alike not in benches:
                if known is not None and alike == measured_alike(known.job):
                    found = (known.checked, known.solved)
                    laid = lay_out_bench(job, *found, roots, keep_folder, room)
                    opened = stack.enter_context(laid)
                else:
                    opened = stack.enter_context(
                        open_bench(job, frames[0], roots, keep_folder, room)
                    )
                for frame in frames:
                    refuse_frame(job, frame, opened.checked)
                benches[alike] = opened
            cells.append(_cell(benches[alike], job))
        store = LightStore(keep_folder / LIGHT, room.budget_bytes, room.reserve_bytes)
        none_kept = jobs[0].keep == "none" or not room.budget_bytes
        factor = -(-cells[0].size[1] // width)
        _hold_sheet(cells[0], len(jobs) * len(frames), columns, factor)
        look = Look(jobs[0])
        made = tuple(
            WedgeFrame(
                frame, tuple(_draw(cells, frame, factor, None if none_kept else store, look, ask))
            )
            for frame in frames
        )
        problems = {str(p): p for bench in benches.values() for p in problems_of(bench)}
    return WedgePictures(made, tuple(problems.values()))


def _cell(bench: ShotBench, job: ShotJob) -> ShotBench:
    """Return the bench of a cell; start offsets and the like are those the check settled."""
    return bench.with_gains_of(bench.job.model_copy(update={"recipe": job.steps}))


def _hold_sheet(bench: ShotBench, count: int, columns: int, factor: int) -> None:
    """Refuse a sheet that is too large before its pictures are made."""
    height, width = (-(-side // factor) for side in bench.size)
    size = sheet_size(count, columns, width, height, titled=True)
    if max(size) > LARGEST_SIDE_PX:
        problem = Problem(
            rank=Rank.STOPS_SHOT,
            what="the sheet would be too large",
            place=Place(shot=bench.job.shot, field="width"),
            seen=f"{size[0]} x {size[1]} pixels, {count} pictures of {width} x {height}",
            expected=f"{LARGEST_SIDE_PX} a side at most",
            remedy="Ask for smaller pictures, or for fewer.",
        )
        raise JobError(f"the wedge of shot {bench.job.shot} can't be made", [problem])


def _draw(  # noqa: PLR0917  # one frame, and everything its cells share
    cells: Sequence[ShotBench],
    frame: int,
    factor: int,
    store: LightStore | None,
    look: Look,
    ask: Callable[[], object],
) -> Iterator[DisplayCodes]:
    sources = SmallSources(store, frame, factor)
    for bench in cells:
        ask()
        light = look.in_master(sources.combine(bench))
        yield look.of_master(light, light.shape[1])
