"""The levels of the passes of a shot, from the samples that measuring left behind."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from glimsum_jobs.measurements import Levels, Sampled
from glimsum_jobs.passes import Level, Steady
from glimsum_jobs.problems import Problem
from glimsum_jobs.shot import ShotJob
from glimsum_workers.engine.codes import Image
from glimsum_workers.engine.level.bars import find_roll_bars
from glimsum_workers.engine.level.colour import Colours, solve_colours
from glimsum_workers.engine.level.compare import compare_frames
from glimsum_workers.engine.level.sample import LevelSample, cell_of
from glimsum_workers.engine.level.solve import levels_of
from glimsum_workers.engine.metrics import as_plane, block_means
from glimsum_workers.engine.primaries import convert
from glimsum_workers.engine.spaces import matrix_between
from glimsum_workers.footage.averages import Averages
from glimsum_workers.footage.recorded import exposed
from glimsum_workers.frames.kept import Keep
from glimsum_workers.measure_shot import sample_cells
from glimsum_workers.solving.level_remarks import Heard, tell_level


def solve_levels(
    job: ShotJob, sampled: Sequence[Sampled], averages: Averages, keep: Keep
) -> tuple[dict[str, Levels], list[Problem]]:
    """Solve the level of every pass that is held steady, all of its frames together.

    Parameters
    ----------
    job : ShotJob
        Says which, and to what.
    sampled : sequence of Sampled
        Where the samples are kept.
    averages : Averages
        Darks and ambients.
    keep : Keep
        Holds the samples.

    Returns
    -------
    levels : dict of pass to Levels
        What each frame is divided by.
    remarks : list of Problem
        Frames that could not be measured; slow changes, colour that drifted, roll bars.
    """
    levels: dict[str, Levels] = {}
    remarks: list[Problem] = []
    samples = _Samples(job, sampled, averages, keep)
    for name in dict.fromkeys(each.pass_name for each in sampled):
        if job.passes[name].is_steady:
            levels[name], heard = _solve(job, name, samples)
            remarks += tell_level(job, name, levels[name], heard)
    return levels, remarks


def _solve(job: ShotJob, name: str, samples: "_Samples") -> tuple[Levels, Heard]:
    each, frames = job.passes[name], samples.frames(name)
    told = each.level if isinstance(each.level, Steady) else None
    anchor = frames.index(told.steady) if told and told.steady in frames else None
    lights = [samples.light(name, frame) for frame in frames]
    rooms = [samples.room(name, frame) for frame in frames]
    green = told is not None and told.colour
    made = [
        samples.sample(name, frame, light, green)
        for frame, light in zip(frames, lights, strict=True)
    ]
    dim = [
        samples.sample(name, frame, room, green) for frame, room in zip(frames, rooms, strict=True)
    ]
    whole = [replace(one, light=one.light + two.light) for one, two in zip(made, dim, strict=True)]
    compared = compare_frames(whole, dim, moving=job.camera == "moving")
    meant = None if told is None else np.array([told.meant(frame) for frame in frames])
    if meant is not None and (meant == meant[0]).all():
        meant = None
    solved = levels_of(compared, anchor=anchor, meant=meant)
    colours = solve_colours(compared, lights, anchor=anchor)
    levels = Levels(
        gains={f: round(float(g), 9) for f, g in zip(frames, solved.gains, strict=True)},
        sigma={
            f: round(float(s), 9) if np.isfinite(s) else -1.0
            for f, s in zip(frames, solved.sigma, strict=True)
        },
        trusted={f: bool(t) for f, t in zip(frames, solved.trusted, strict=True)},
        colours=_taken_out(frames, colours) if told is not None and told.colour else {},
    )
    bars = find_roll_bars(compared)
    height_px = made[0].light.shape[0] * made[0].cell_px
    return levels, Heard(tuple(frames), solved, colours, bars, height_px)


def _taken_out(frames: Sequence[int], colours: Colours) -> dict[int, tuple[float, float]]:
    return {
        frame: (round(float(red), 9), round(float(blue), 9))
        for frame, red, blue in zip(frames, colours.red, colours.blue, strict=True)
    }


class _Samples:
    """The kept samples of a shot, without their darks and ambients."""

    def __init__(
        self, job: ShotJob, sampled: Sequence[Sampled], averages: Averages, keep: Keep
    ) -> None:
        self._job = job
        self._keys = {(each.pass_name, each.frame): each.key for each in sampled}
        self._averages = averages
        self._keep = keep

    def frames(self, name: str) -> list[int]:
        """Return the frames a pass was sampled on."""
        return sorted(frame for each, frame in self._keys if each == name)

    def sample(self, name: str, frame: int, cells: Image, green: bool) -> LevelSample:
        """Return what the level is solved from: the mean of R, G, B in the working space.

        `green`: of the camera's green alone, where red and blue are held to it.
        """
        kept = self._keep.get(self._keys[name, frame])
        matrix = matrix_between(self._job.passes[name].space, self._job.space)
        plane = cells[..., 1].copy() if green else as_plane(convert(cells.copy(), matrix))
        valid = np.ones(plane.shape, dtype=np.bool_) if kept is None else kept["valid"]
        return LevelSample(plane, valid, 1 if kept is None else int(kept["cell_px"]))

    def light(self, name: str, frame: int) -> Image:
        """Return the cells of a pass without dark and ambient, in its own primaries."""
        return np.asarray(self._cells(name, frame) - self.room(name, frame), dtype=np.float32)

    def room(self, name: str, frame: int) -> Image:
        """Return the cells of the ambient of a pass, in the pass's primaries; zeros without."""
        each = self._job.passes[name]
        if each.ambient is None:
            return np.zeros_like(self._cells(name, frame))
        cells = self._cells(each.ambient, frame)
        return convert(cells, matrix_between(self._job.passes[each.ambient].space, each.space))

    def _cells(self, name: str, frame: int) -> Image:
        """Return the cells of a pass on a frame; of its average where the frame has none."""
        key = self._keys.get((name, frame))
        kept = self._keep.get(key) if key else None
        if kept is None:
            mean = self._averages.average(name)
            return block_means(mean, cell_of(mean.shape[1]))
        return np.asarray(kept["cells"] - self._dark(name), dtype=np.float32)

    def _dark(self, name: str) -> Image:
        each = self._job.passes[name]
        if isinstance(each.dark, Level):
            flat = np.asarray(each.dark.level, dtype=np.float32).reshape(1, 1, 3)
            return exposed(self._job, name, flat)
        dark = self._averages.dark(each)
        if dark is None:
            return np.zeros((1, 1, 3), dtype=np.float32)
        return sample_cells(self._job, name, dark.copy())
