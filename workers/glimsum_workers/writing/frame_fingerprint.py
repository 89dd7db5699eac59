"""The fingerprint of a frame: a digest of everything that changes its pixels, and nothing else."""

from typing import Any

from glimsum_jobs.mattes import BackingMatte, Matte, PictureMatte, ShapeMatte
from glimsum_jobs.passes import Level
from glimsum_jobs.picture import WholePicture
from glimsum_jobs.recipe import Step
from glimsum_workers.combine_frame import ShotBench
from glimsum_workers.footage.digests import digest_of
from glimsum_workers.light.fingerprint import PIXEL_EPOCH

_NOT_PIXELS = {"files", "first", "step", "start_offset", "shape", "pass_name", "empty"}
"""Fields of mattes that say where a picture comes from; what it is has a digest of its own."""


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
        *_correction(bench.job.picture),
    )


def _correction(picture: WholePicture) -> list[Any]:
    """Return the correction of the whole picture where masters have it."""
    return [picture.model_dump()] if picture.in_masters and not picture.changes_nothing else []


def _step(bench: ShotBench, index: int, frame: int) -> list[Any]:
    step = bench.job.steps[index]
    if bench.is_out(step, frame):
        return ["out"]
    return [
        *source_fingerprint(bench, step, frame),
        step.gain(frame),
        step.tint_mired,
        step.lamp_kelvin if step.tint_mired else None,
        None if step.matte is None else matte_fingerprint(bench, step.matte, frame),
        step.operator,
    ]


def source_fingerprint(bench: ShotBench, step: Step, frame: int) -> list[Any]:
    """Return everything that changes what a step lays on, before its gain, tint and matte."""
    if step.pass_name is None:
        holdout = bench.job.holdout_of(step)
        return [
            *_laid(bench, step, frame),
            None if holdout is None else matte_fingerprint(bench, holdout, frame),
        ]
    return [bench.digests.of_light(name, step.shown(frame), bench.solved) for name in step.names]


def _laid(bench: ShotBench, step: Step, frame: int) -> list[Any]:
    if step.insert is not None:
        return bench.inserts.fingerprint(step.insert, frame, bench.solved)
    return bench.elements.fingerprint(step.element or "", frame, bench.solved)


def matte_fingerprint(bench: ShotBench, name: str, frame: int) -> list[Any]:
    """Return everything that changes the weights of a matte on a frame."""
    matte = bench.job.mattes[name]
    told = matte.model_dump(mode="json", exclude=_NOT_PIXELS)
    made: list[Any] = [
        told,
        *(bench.digests.of_pass(each, frame, bench.solved) for each in _lit(bench, matte)),
    ]
    match matte:
        case PictureMatte():
            made.append(bench.material.matte_fingerprint(name, frame))
        case BackingMatte() if matte.empty is not None:
            made.append(_backing(bench, matte.empty, frame))
        case ShapeMatte():
            made.append(bench.mattes.outline(name, frame, bench.solved).tolist())
    return [*made, *(matte_fingerprint(bench, each, frame) for each in matte.matte_names)]


def _lit(bench: ShotBench, matte: Matte) -> list[str]:
    """Return the passes of a matte that are taken frame by frame."""
    return [name for name in matte.pass_names if bench.job.passes[name].use is None]


def _backing(bench: ShotBench, empty: str | Level, frame: int) -> list[Any]:
    if isinstance(empty, Level):
        return [empty.level]
    each = bench.job.passes[empty]
    return [
        bench.averages.average_key(empty),
        each.space,
        None if each.ambient is None else bench.averages.ambient_key(each.ambient, frame),
    ]
