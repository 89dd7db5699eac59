"""A combined frame written down: its master and its preview."""

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from glimsum_jobs.measurements import Combined
from glimsum_jobs.orders import RunOrder
from glimsum_jobs.paths import parse_root_path
from glimsum_jobs.problems import Place, Problem, Rank
from glimsum_workers.combine_frame import ShotBench
from glimsum_workers.engine.viewing import Viewing
from glimsum_workers.frame_fingerprint import fingerprint_of
from glimsum_workers.frames.masters import write_master
from glimsum_workers.frames.previews import shrink, write_preview
from glimsum_workers.frames.roots import Roots
from glimsum_workers.master_attributes import attributes_of

MASTERS = "master"
PREVIEWS = "preview"
VIEWING = "viewing"
LINES = "lines"
"""Folders inside the folder of a version."""


@dataclass(frozen=True)
class Writer:
    """Who writes.

    Attributes
    ----------
    worker : str
        Id of the worker process.
    token : str
        Part of temporary names, so that two writers never share one.
    still_mine : callable
        Asked between steps and right before each rename; raises LeaseLost.
    """

    worker: str
    token: str
    still_mine: Callable[[], object]

    def ask(self) -> None:
        """Raise LeaseLost where the item is no longer this writer's."""
        self.still_mine()


def write_frame(
    order: RunOrder, bench: ShotBench, frame: int, roots: Roots, *, writer: Writer
) -> Combined:
    """Combine a frame and write its master and preview, each whole or not at all.

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

    Returns
    -------
    Combined
        Digests, names and figures.
    """
    begun = time.monotonic()
    fingerprint = fingerprint_of(bench, frame)
    made = bench.combine(frame, writer.still_mine)
    version = parse_root_path(order.folder)
    master = order.job.masters[0]
    written = write_master(
        roots.make_folder(version.child(MASTERS)),
        master_name(order, frame),
        made.picture.rgb,
        made.picture.alpha,
        attributes_of(bench.job, frame, bench.material, fingerprint, bench.solved),
        compression=master.compression,
        pixel=master.pixel,
        window=made.window,
        token=writer.token,
        before_rename=writer.ask,
    )
    viewing = order.job.viewing
    small = shrink(made.picture.rgb, viewing.width)
    codes = Viewing(order.job.space, viewing.display, viewing.view).apply(small)
    preview = preview_name(order, frame)
    write_preview(
        roots.make_folder(version.child(PREVIEWS)),
        preview,
        codes,
        token=writer.token,
        before_rename=writer.ask,
    )
    return Combined(
        frame=frame,
        digest=written.pixel_digest,
        file_digest=written.file_digest,
        name=written.name,
        bytes=written.size,
        fingerprint=fingerprint,
        preview=preview,
        figures={**made.figures, "clamped": float(written.clamped)},
        remarks=tuple(_levels_not_measured(bench, frame)),
        seconds=round(time.monotonic() - begun, 3),
    )


def _levels_not_measured(bench: ShotBench, frame: int) -> Iterator[Problem]:
    """Name passes whose flicker is left in: their file could not be read when it was measured."""
    job, levels = bench.job, bench.solved.levels
    lit = [step for step in job.steps if not bench.is_out(step, frame)]
    for name in sorted({name for step in lit for name in job.passes_in(step)}):
        measured = name in levels and frame in levels[name].gains
        if job.passes[name].is_steady and not measured:
            yield Problem(
                rank=Rank.REMARK,
                what=f"the level of pass {name} was not measured on this frame",
                place=Place(shot=job.shot, pass_name=name, frame=frame),
                seen="no gain: its file could not be read at that time",
                expected="a gain, solved together with the other frames",
                remedy="If it flickers, submit the shot as a new version: that measures again.",
            )


def master_name(order: RunOrder, frame: int) -> str:
    """Return the file name of a master: ``mole_040_v003.1001.exr``."""
    return f"{order.shot}_v{order.version:03d}.{frame:04d}.exr"


def preview_name(order: RunOrder, frame: int) -> str:
    """Return the file name of a preview: ``mole_040_v003.1001.jpg``."""
    return f"{order.shot}_v{order.version:03d}.{frame:04d}.jpg"
