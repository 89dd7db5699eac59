"""A wedge: chosen frames of a shot with many gains, small, from sources that are made once.

What a step lays on is shrunk with its matte before gain and tint: both are linear, and so is the
mean of a block of pixels. Every cell is then combined from small pictures by the same code that
combines the frame.
"""

from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.problems import Problem
from glimsum_jobs.recipe import Step
from glimsum_jobs.shot import ShotJob
from glimsum_jobs.wedges import measured_alike
from glimsum_workers.combine_frame import OnFrame, ShotBench
from glimsum_workers.digests import digest_of
from glimsum_workers.engine.codes import Picture, Plane
from glimsum_workers.engine.combine import combine_step, lay_ground
from glimsum_workers.engine.resample.window import Window
from glimsum_workers.engine.scaling import reduce_picture
from glimsum_workers.engine.tint import tint_matrix
from glimsum_workers.engine.viewing import DisplayCodes
from glimsum_workers.frame_fingerprint import matte_fingerprint, source_fingerprint
from glimsum_workers.frames.kept_light import LightStore
from glimsum_workers.frames.roots import Roots
from glimsum_workers.kept_passes import LIGHT, LightRoom
from glimsum_workers.light_fingerprint import PIXEL_EPOCH
from glimsum_workers.look import Look
from glimsum_workers.one_frame import open_bench, problems_of, refuse_frame


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


class SmallSources:
    """What the steps of one frame lay on, shrunk; each is made once, and kept on disk.

    Parameters
    ----------
    store : LightStore or None
        Where small sources are kept.
    frame : int
        Shot frame.
    factor : int
        Side of the blocks of pixels that become one.
    """

    def __init__(self, store: LightStore | None, frame: int, factor: int) -> None:
        self._store = store
        self._frame = frame
        self._factor = factor
        self._made: dict[str, Picture | None] = {}
        self._full: dict[int, OnFrame] = {}

    def combine(self, bench: ShotBench) -> Picture:
        """Return the frame as the recipe of a bench combines it, small.

        Parameters
        ----------
        bench : ShotBench
            Of one cell.

        Returns
        -------
        Picture
            (ceil(height / factor), ceil(width / factor)), scene-linear, working space. Where all
            steps use `plus` it is the mean of blocks of the full frame, within float rounding;
            other operators are taken of the means, which differs where an edge crosses a block.
        """
        window, frame = bench.window(self._frame), self._frame
        height, width = (-(-side // self._factor) for side in bench.size)
        ground = lay_ground(height, width)
        for step in bench.job.steps:
            if bench.is_out(step, frame):
                if ground.alpha is not None:
                    ground.alpha[...] = 1
                continue
            source = self._source(bench, step, window)
            if source is None:
                continue
            tint = tint_matrix(step.tint_mired, lamp_kelvin=step.lamp_kelvin, space=bench.job.space)
            combine_step(ground, source, step.operator, matrix=step.gain(frame) * tint)
        return ground

    def _source(self, bench: ShotBench, step: Step, window: Window) -> Picture | None:
        key = self._key(bench, step, window)
        if key in self._made:
            return self._made[key]
        kept = None if self._store is None else self._store.get(key)
        if kept is None:
            made = self._make(bench, step, window)
            if made is not None and self._store is not None:
                self._store.put(key, _as_arrays(made))
        else:
            made = Picture(kept["rgb"], kept.get("alpha"))
        self._made[key] = made
        return made

    def _key(self, bench: ShotBench, step: Step, window: Window) -> str:
        return digest_of(
            "small",
            PIXEL_EPOCH,
            bench.job.space,
            self._factor,
            [window.top, window.bottom, window.left, window.right],
            source_fingerprint(bench, step, self._frame),
            None if step.matte is None else matte_fingerprint(bench, step.matte, self._frame),
        )

    def _make(self, bench: ShotBench, step: Step, window: Window) -> Picture | None:
        """Return what a step lays on, with its matte, means of blocks."""
        # Lights and mattes of one bench are those of every bench that shares its sources.
        made = self._full.setdefault(id(bench.light), OnFrame(self._frame))
        source = bench.source(step, made)
        if source is None:
            return None
        rgb, alpha = source.rgb, source.alpha
        if step.matte is not None:
            matte = bench.matte(step.matte, made)
            rgb = rgb * matte[..., None]
            alpha = matte if alpha is None else alpha * matte
        if window != Window.whole(bench.size):
            inside = np.zeros(bench.size, np.float32)
            inside[window.slices()] = 1
            rgb = rgb * inside[..., None]
            alpha = inside if alpha is None else alpha * inside
        return Picture(
            reduce_picture(rgb, self._factor),
            None if alpha is None else _reduce_plane(alpha, self._factor),
        )


def make_wedge(  # noqa: PLR0917  # a wedge, and where everything is
    jobs: Sequence[ShotJob],
    frames: Sequence[int],
    roots: Roots,
    keep_folder: Path,
    room: LightRoom,
    width: int,
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

    Returns
    -------
    WedgePictures
        For every frame a picture a cell.

    Raises
    ------
    JobError
        The check stops the shot or one of the frames; holds all problems.
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
                opened = stack.enter_context(open_bench(job, frames[0], roots, keep_folder, room))
                for frame in frames[1:]:
                    refuse_frame(job, frame, opened.checked)
                benches[alike] = opened
            cells.append(_cell(benches[alike], job))
        store = LightStore(keep_folder / LIGHT, room.budget_bytes, room.reserve_bytes)
        none_kept = jobs[0].keep == "none" or not room.budget_bytes
        factor = -(-cells[0].size[1] // width)
        look = Look(jobs[0])
        made = tuple(
            WedgeFrame(
                frame, tuple(_draw(cells, frame, factor, None if none_kept else store, look))
            )
            for frame in frames
        )
        problems = {str(p): p for bench in benches.values() for p in problems_of(bench)}
    return WedgePictures(made, tuple(problems.values()))


def _cell(bench: ShotBench, job: ShotJob) -> ShotBench:
    """Return the bench of a cell; start offsets and the like are those the check settled."""
    return bench.with_gains_of(bench.job.model_copy(update={"recipe": job.steps}))


def _draw(
    cells: Sequence[ShotBench], frame: int, factor: int, store: LightStore | None, look: Look
) -> Iterator[DisplayCodes]:
    sources = SmallSources(store, frame, factor)
    for bench in cells:
        light = look.in_master(sources.combine(bench).rgb)
        yield look.of_master(light, light.shape[1])


def _as_arrays(picture: Picture) -> dict[str, NDArray[Any]]:
    return {"rgb": picture.rgb} | ({} if picture.alpha is None else {"alpha": picture.alpha})


def _reduce_plane(plane: Plane, factor: int) -> Plane:
    return reduce_picture(np.repeat(plane[..., None], 3, axis=2), factor)[..., 0]
