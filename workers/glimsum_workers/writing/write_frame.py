"""A frame written down: its master and its preview, combined or taken over."""

import time
from collections.abc import Iterator

from glimsum_jobs.measurements import Combined
from glimsum_jobs.orders import RunOrder
from glimsum_jobs.paths import parse_root_path
from glimsum_jobs.plan import by_frame, lacks_frame
from glimsum_jobs.problems import Place, Problem, Rank
from glimsum_workers.combine_frame import ShotBench
from glimsum_workers.engine.codes import Image
from glimsum_workers.footage.digests import digest_of
from glimsum_workers.frames.master_reading import read_master
from glimsum_workers.frames.masters import MasterAttributes, digest_file, write_master
from glimsum_workers.frames.previews import write_preview
from glimsum_workers.frames.roots import Roots
from glimsum_workers.light.kept_passes import KeptLight
from glimsum_workers.light.look import Look
from glimsum_workers.writing.frame_fingerprint import fingerprint_of
from glimsum_workers.writing.master_attributes import attributes_of
from glimsum_workers.writing.reuse import EarlierFrames, TakenFrame, Wanted, form_of
from glimsum_workers.writing.version_folder import MASTERS, PREVIEWS, master_name, preview_name
from glimsum_workers.writing.writer import Writer


def write_frame(
    order: RunOrder,
    bench: ShotBench,
    frame: int,
    roots: Roots,
    *,
    writer: Writer,
    earlier: EarlierFrames,
) -> Combined:
    """Write a frame's master and preview, each whole or not at all.

    A frame that an earlier version has finished, with the same fingerprint and the same header,
    is taken over; any other is combined.

    Parameters
    ----------
    order : RunOrder
        Names the version folder.
    bench : ShotBench
        The solved shot.
    frame : int
        Shot frame.
    roots : Roots
        Where this machine has the roots.
    writer : Writer
        Who writes.
    earlier : EarlierFrames
        Frames of the shot's earlier versions.

    Returns
    -------
    Combined
        Digests, names and figures.
    """
    begun = time.monotonic()
    ask_to_know(bench, frame)
    if frame + 1 in order.asked.numbers:  # a slot goes on where it is
        ask_to_know(bench, frame + 1)
    fingerprint = fingerprint_of(bench, frame)
    attributes = attributes_of(bench.job, frame, bench.material, fingerprint, bench.solved)
    wanted = Wanted(frame, fingerprint, form_of(attributes, bench.size), _look(order))
    taken, remarks = earlier.take(wanted, writer)
    remarks += _levels_not_measured(bench, frame)
    if taken is None:
        made = _combine(order, bench, attributes, wanted, roots, writer)
        remarks += made.remarks
    else:
        made = _taken(order, taken, wanted, roots, writer)
    seconds = round(time.monotonic() - begun, 3)
    return made.model_copy(update={"remarks": tuple(remarks), "seconds": seconds})


def _combine(  # noqa: PLR0917  # a frame, and all it is made of
    order: RunOrder,
    bench: ShotBench,
    attributes: MasterAttributes,
    wanted: Wanted,
    roots: Roots,
    writer: Writer,
) -> Combined:
    frame, master = wanted.frame, order.job.masters[0]
    ask_to_combine(bench, frame)
    if frame + 1 in order.asked.numbers:
        ask_to_combine(bench, frame + 1)
    made = bench.combine(frame, writer.still_mine)
    light = Look(order.job).in_master(made.picture.rgb)
    written = write_master(
        roots.make_folder(parse_root_path(order.folder).child(MASTERS)),
        master_name(order, frame),
        light,
        made.picture.alpha,
        attributes,
        compression=master.compression,
        pixel=master.pixel,
        window=made.window,
        token=writer.token,
        before_rename=writer.ask,
    )
    preview, preview_digest = _show(order, light, frame, roots, writer)
    return Combined(
        frame=frame,
        digest=written.pixel_digest,
        file_digest=written.file_digest,
        name=written.name,
        bytes=written.size,
        fingerprint=wanted.fingerprint,
        form=wanted.form,
        preview=preview,
        preview_digest=preview_digest,
        look=wanted.look,
        figures={**made.figures, "clamped": float(written.clamped)},
        remarks=made.remarks,
        seconds=0.0,
    )


def _taken(
    order: RunOrder, taken: TakenFrame, wanted: Wanted, roots: Roots, writer: Writer
) -> Combined:
    """Return what a frame that was taken over leaves behind; another view has a new preview."""
    name = master_name(order, wanted.frame)
    preview, digest = preview_name(order, wanted.frame), taken.earlier.preview_digest
    if not taken.preview:
        folder = roots.make_folder(parse_root_path(order.folder).child(MASTERS))
        preview, digest = _show(order, read_master(folder / name)[0], wanted.frame, roots, writer)
    return taken.earlier.model_copy(
        update={
            "name": name,
            "preview": preview,
            "preview_digest": digest,
            "look": wanted.look,
            "reused": taken.version,
        }
    )


def _show(order: RunOrder, rgb: Image, frame: int, roots: Roots, writer: Writer) -> tuple[str, str]:
    """Write the preview of a frame; return its name and digest."""
    viewing, name = order.job.viewing, preview_name(order, frame)
    folder = roots.make_folder(parse_root_path(order.folder).child(PREVIEWS))
    codes = Look(order.job).of_master(rgb, viewing.width)
    write_preview(folder, name, codes, token=writer.token, before_rename=writer.ask)
    return name, digest_file(folder / name)


def _look(order: RunOrder) -> str:
    viewing = order.job.viewing
    told = [viewing.display, viewing.view, viewing.width, order.job.picture.model_dump()]
    return digest_of("look", order.job.space, told)


def _levels_not_measured(bench: ShotBench, frame: int) -> Iterator[Problem]:
    """Name passes whose flicker is left in: their file could not be read when it was measured."""
    job, levels = bench.job, bench.solved.levels
    lit = [step for step in job.steps if not bench.is_out(step, frame)]
    for name in sorted({name for step in lit for name in job.passes_in(step)}):
        measured = name in levels and frame in levels[name].gains
        absent = lacks_frame(bench.checked, name, frame)
        if job.passes[name].is_steady and not measured and not absent:
            yield Problem(
                rank=Rank.REMARK,
                what=f"the level of pass {name} was not measured on this frame",
                place=Place(shot=job.shot, pass_name=name, frame=frame),
                seen="no gain: its file could not be read at that time",
                expected="a gain, solved together with the other frames",
                remedy="If it flickers, submit the shot as a new version: that measures again.",
            )


def ask_to_know(bench: ShotBench, frame: int) -> None:
    """Ask the system for files of a frame whose fingerprints aren't known: they will be read.

    Parameters
    ----------
    bench : ShotBench
        The solved shot.
    frame : int
        Shot frame; nothing is asked for where the shot has no such frame.
    """
    _ask(bench, frame, known=False)


def ask_to_combine(bench: ShotBench, frame: int) -> None:
    """Ask the system for the files of a frame that is combined, unless its light may be kept.

    Parameters
    ----------
    bench : ShotBench
        The solved shot.
    frame : int
        Shot frame; nothing is asked for where the shot has no such frame.
    """
    if not isinstance(bench.light, KeptLight):
        _ask(bench, frame, known=True)


def _ask(bench: ShotBench, frame: int, *, known: bool) -> None:
    if frame in bench.job.frames.numbers:
        for name, shown in dict.fromkeys(passes_of(bench, frame)):
            bench.material.ask_ahead(name, shown, known=known)


def passes_of(bench: ShotBench, frame: int) -> Iterator[tuple[str, int]]:
    """Yield the passes a frame is made of, each with the shot frame whose picture it shows."""
    job, checked = bench.job, bench.checked
    for step in job.steps:
        if bench.is_out(step, frame):
            continue
        for name in (*job.passes_in(step), *job.passes_behind(step)):
            shown = step.shown(frame)
            yield name, shown
            ambient = job.passes[name].ambient
            if ambient is not None and by_frame(job, checked, ambient):
                yield ambient, shown
