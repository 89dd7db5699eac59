"""Levels of all frames solved together, from what measuring left behind."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.frame_ranges import runs_of
from glimsum_jobs.measurements import Averaged, Levels, Sampled, Solved
from glimsum_jobs.passes import Level, Steady
from glimsum_jobs.plan import dead_frames
from glimsum_jobs.problems import Place, Problem, Rank
from glimsum_jobs.shot import ShotJob
from glimsum_workers.averages import Averages
from glimsum_workers.digests import digest_of
from glimsum_workers.engine.level.sample import LevelSample, level_sample
from glimsum_workers.engine.level.solve import solve_levels
from glimsum_workers.engine.primaries import convert
from glimsum_workers.engine.spaces import matrix_between
from glimsum_workers.frames.kept import Keep
from glimsum_workers.material import Material
from glimsum_workers.measure_shot import sample_picture
from glimsum_workers.measured import Measured
from glimsum_workers.recorded import exposed
from glimsum_workers.solve_follows import solve_follows, tell_follows
from glimsum_workers.solve_tracks import solve_tracks
from glimsum_workers.track_remarks import tell_places


def solve_shot(job: ShotJob, measured: Measured, material: Material, keep: Keep) -> Solved:
    """Solve the levels and the tracks of all frames together.

    Parameters
    ----------
    job : ShotJob
        The shot.
    measured : Measured
        What measuring left behind.
    material : Material
        Reads the ambient of a moving camera.
    keep : Keep
        Where the samples are.

    Returns
    -------
    Solved
        Levels, tracks and averages, with remarks on frames whose level could not be trusted and on
        averages that lack a file.
    """
    by_name = {each.pass_name: each for each in measured.averaged}
    samples = _Samples(job, measured.sampled, Averages(job, by_name, material, keep), keep)
    levels: dict[str, Levels] = {}
    problems: list[Problem] = []
    for name in dict.fromkeys(each.pass_name for each in measured.sampled):
        if job.passes[name].is_steady:
            levels[name] = _solve_level(job, name, samples)
            problems += _doubts(job, name, levels[name])
    for each in measured.averaged:
        problems += _left_out(job, each, len(material.file_numbers(each.pass_name)))
    tracks = solve_tracks(job, measured.tracked, material.checked, measured.aligned)
    problems += tell_places(job, measured, tracks, dead_frames(material.checked))
    whole = material.checked.passes[job.reference_pass]
    follows = solve_follows(job, measured.followed, tracks, (whole.height, whole.width))
    problems += tell_follows(job, measured.followed, follows)
    return Solved(
        averages=by_name,
        levels=levels,
        tracks=tracks,
        follows=follows,
        problems=tuple(problems),
        revision=digest_of(
            {name: each.key for name, each in by_name.items()},
            {name: each.model_dump(mode="json") for name, each in levels.items()},
            {name: each.model_dump(mode="json") for name, each in tracks.items()},
            *(
                [{n: each.model_dump(mode="json") for n, each in follows.items()}]
                if follows
                else []
            ),
        ),
    )


def _left_out(job: ShotJob, average: Averaged, files: int) -> list[Problem]:
    """Name an average that lacks files; damage inside a file shows only when it is read."""
    if average.frames == files:
        return []
    name = average.pass_name
    return [
        Problem(
            rank=Rank.REMARK,
            what=f"the average of pass {name} lacks files that can't be read",
            place=Place(shot=job.shot, pass_name=name, file=job.passes[name].files),
            seen=f"{average.frames} files averaged",
            expected=f"{files} files",
            remedy="Copy the pass from the card again; the others make the average.",
        )
    ]


class _Samples:
    """The kept samples of a shot, without their darks."""

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

    def of(self, name: str, frame: int) -> LevelSample:
        """Return the sample of a pass on a frame; of its average where the frame has none."""
        key = self._keys.get((name, frame))
        kept = self._keep.get(key) if key else None
        if kept is None:
            mean = self._averages.average(name)
            matrix = matrix_between(self._job.passes[name].space, self._job.space)
            return level_sample(convert(mean, matrix))
        light = kept["light"] - self._dark(name, kept["light"])
        return LevelSample(light, kept["valid"], int(kept["cell_px"]))

    def _dark(self, name: str, like: NDArray[np.float32]) -> NDArray[np.float32]:
        each = self._job.passes[name]
        if isinstance(each.dark, Level):
            flat = np.asarray(each.dark.level, dtype=np.float32).reshape(1, 1, 3)
            lit = exposed(self._job, name, flat)
            lit = convert(lit, matrix_between(each.space, self._job.space))
            return np.full_like(like, float(lit.mean()))
        dark = self._averages.dark(each)
        if dark is None:
            return np.zeros_like(like)
        return sample_picture(self._job, name, dark.copy()).light


def _solve_level(job: ShotJob, name: str, samples: _Samples) -> Levels:
    each, frames = job.passes[name], samples.frames(name)
    anchor = each.level.steady if isinstance(each.level, Steady) else None
    ambient = each.ambient
    solved = solve_levels(
        [samples.of(name, frame) for frame in frames],
        None if ambient is None else [samples.of(ambient, frame) for frame in frames],
        moving=job.camera == "moving",
        anchor=frames.index(anchor) if anchor in frames else None,
    )
    return Levels(
        gains={f: round(float(g), 9) for f, g in zip(frames, solved.gains, strict=True)},
        sigma={
            f: round(float(s), 9) if np.isfinite(s) else -1.0
            for f, s in zip(frames, solved.sigma, strict=True)
        },
        trusted={f: bool(t) for f, t in zip(frames, solved.trusted, strict=True)},
    )


def _doubts(job: ShotJob, name: str, levels: Levels) -> list[Problem]:
    doubtful = [frame for frame, trusted in levels.trusted.items() if not trusted]
    if not doubtful:
        return []
    return [
        Problem(
            rank=Rank.REMARK,
            what=f"the level of pass {name} could not be measured on {len(doubtful)} frames",
            place=Place(shot=job.shot, pass_name=name),
            seen=f"frames {runs_of(doubtful)}: too dark, or another light",
            expected="light to compare with the other frames",
            remedy="Their level is left as it is; write level: follow if the pass is meant so.",
        )
    ]
