"""Levels of all frames solved together, from what measuring left behind."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.frame_ranges import runs_of
from glimsum_jobs.measurements import Averaged, Levels, Sampled, Solved
from glimsum_jobs.passes import Level
from glimsum_jobs.problems import Place, Problem, Rank
from glimsum_jobs.shot import ShotJob
from glimsum_workers.averages import Averages
from glimsum_workers.digests import digest_of
from glimsum_workers.engine.level import LevelSample, level_sample, solve_levels
from glimsum_workers.engine.primaries import convert
from glimsum_workers.engine.spaces import matrix_between
from glimsum_workers.frames.kept import Keep
from glimsum_workers.material import Material
from glimsum_workers.recorded import exposed


def solve_shot(
    job: ShotJob,
    averaged: Sequence[Averaged],
    sampled: Sequence[Sampled],
    material: Material,
    keep: Keep,
) -> Solved:
    """Solve the levels of all frames together.

    Parameters
    ----------
    job : ShotJob
        The shot.
    averaged, sampled : sequence
        What measuring left behind; an item that was set aside is missing here.
    material : Material
        Reads the ambient of a moving camera.
    keep : Keep
        Where the samples are.

    Returns
    -------
    Solved
        Levels and averages, with a remark for every frame whose level could not be trusted.
    """
    by_name = {each.pass_name: each for each in averaged}
    averages = Averages(job, by_name, material, keep)
    levels: dict[str, Levels] = {}
    problems: list[Problem] = []
    for name in dict.fromkeys(each.pass_name for each in sampled):
        frames = {each.frame: each.key for each in sampled if each.pass_name == name}
        levels[name] = _solve_level(job, name, frames, averages, keep)
        problems += _doubts(job, name, levels[name])
    return Solved(
        averages=by_name,
        levels=levels,
        problems=tuple(problems),
        revision=digest_of(
            {name: each.key for name, each in by_name.items()},
            {name: each.model_dump(mode="json") for name, each in levels.items()},
        ),
    )


def _solve_level(
    job: ShotJob, name: str, keys: dict[int, str], averages: Averages, keep: Keep
) -> Levels:
    each = job.passes[name]
    samples: dict[int, LevelSample] = {}
    ambients: list[LevelSample] = []
    for frame, key in sorted(keys.items()):
        kept = keep.get(key)
        if kept is None:
            continue
        dark = _dark_sample(job, name, averages, kept)
        samples[frame] = LevelSample(kept["light"] - dark, kept["valid"], int(kept["cell_px"]))
        if each.ambient is not None:
            rgb = averages.ambient(each.ambient, frame)
            rgb = convert(rgb, matrix_between(job.passes[each.ambient].space, each.space))
            ambients.append(level_sample(rgb, cell_px=int(kept["cell_px"])))
    solved = solve_levels(list(samples.values()), ambients or None, moving=job.camera == "moving")
    frames = list(samples)
    return Levels(
        gains={f: round(float(g), 9) for f, g in zip(frames, solved.gains, strict=True)},
        sigma={
            f: round(float(s), 9) if np.isfinite(s) else -1.0
            for f, s in zip(frames, solved.sigma, strict=True)
        },
        trusted={f: bool(t) for f, t in zip(frames, solved.trusted, strict=True)},
    )


def _dark_sample(
    job: ShotJob, name: str, averages: Averages, kept: Mapping[str, NDArray[Any]]
) -> NDArray[np.float32]:
    """Return the sample of a pass's dark, in the unit of the samples of the pass."""
    each = job.passes[name]
    if each.dark is None:
        return np.zeros_like(kept["light"])
    if isinstance(each.dark, Level):
        flat = np.asarray(each.dark.level, dtype=np.float32).reshape(1, 1, 3)
        return np.full_like(kept["light"], float(exposed(job, name, flat).mean()))
    dark = averages.dark(each)
    assert dark is not None  # noqa: S101  # a named dark has an average or raised
    return level_sample(exposed(job, name, dark.copy()), cell_px=int(kept["cell_px"])).light


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
