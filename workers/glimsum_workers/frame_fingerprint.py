"""The fingerprint of a frame: a digest of everything that changes its pixels, and nothing else."""

from typing import Any

from glimsum_jobs.mattes import PictureMatte
from glimsum_jobs.passes import Level
from glimsum_workers.combine_frame import ShotBench
from glimsum_workers.digests import digest_of
from glimsum_workers.engine.motion import Affine, Motion
from glimsum_workers.motions import has_parallax, motion_numbers, motion_on
from glimsum_workers.recorded import stops_of

PIXEL_EPOCH = 1
"""Raised only when the same job and files give other pixels."""


def fingerprint_of(bench: ShotBench, frame: int) -> str:
    """Return 64 hex digits that are equal for two frames only if their pixels must be equal.

    Parameters
    ----------
    bench : ShotBench
        The solved shot.
    frame : int
        Shot frame.

    Returns
    -------
    str
        SHA-256 over the files' own digests, how they are read, what is taken away, gains,
        tints, mattes and operators of this frame, working space and stored form.
    """
    master = bench.job.masters[0]
    return digest_of(
        PIXEL_EPOCH,
        bench.job.space,
        master.model_dump(),
        [_step(bench, index, frame) for index in range(len(bench.job.steps))],
        *(["crop"] if bench.job.edges == "crop" else []),
    )


def _step(bench: ShotBench, index: int, frame: int) -> list[Any]:
    step = bench.job.steps[index]
    if bench.is_out(step, frame):
        return ["out"]
    return [
        *(_pass(bench, name, frame) for name in bench.job.passes_in(step)),
        step.gain(frame),
        step.tint_mired,
        step.lamp_kelvin if step.tint_mired else None,
        None if step.matte is None else _matte(bench, step.matte, frame),
        step.operator,
    ]


def _pass(bench: ShotBench, name: str, frame: int) -> list[Any]:
    each = bench.job.passes[name]
    levels = bench.solved.levels.get(name)
    motion = motion_on(bench.solved, bench.job, name, frame)
    return [
        bench.material.pass_fingerprint(name, frame),
        each.space,
        each.range,
        None if each.crop is None else each.crop.model_dump(),
        bench.averages.dark_key(each),
        None if each.white_balance is None else each.white_balance.gains,
        stops_of(bench.job, name),
        None if each.ambient is None else bench.averages.ambient_key(each.ambient, frame),
        None if levels is None else levels.gains.get(frame, 1.0),
        None if motion is None else _placed(bench, motion, frame),
    ]


def _placed(bench: ShotBench, motion: Motion | Affine, frame: int) -> list[object]:
    numbers = motion_numbers(motion)
    return [*numbers, bench.pictures.nearness_key(frame)] if has_parallax(motion) else numbers


def _matte(bench: ShotBench, name: str, frame: int) -> list[Any]:
    matte = bench.job.mattes[name]
    if isinstance(matte, PictureMatte):
        return [bench.material.matte_fingerprint(name, frame), matte.invert]
    return [_pass(bench, matte.pass_name, frame), _backing(bench, matte.empty, frame), matte.invert]


def _backing(bench: ShotBench, empty: str | Level, frame: int) -> list[Any]:
    if isinstance(empty, Level):
        return [empty.level]
    each = bench.job.passes[empty]
    return [
        bench.averages.average_key(empty),
        each.space,
        None if each.ambient is None else bench.averages.ambient_key(each.ambient, frame),
    ]
