"""A wedge somebody asked the service for: made of a version, written into a folder of its own."""

import time

from glimsum_jobs.errors import JobError
from glimsum_jobs.ledger import SINGLE_ITEM, Ledger, Stage
from glimsum_jobs.measurements import Checked, Solved, Wedged
from glimsum_jobs.orders import WedgeOrder, run_name
from glimsum_jobs.paths import parse_root_path
from glimsum_jobs.wedges import describe_wedge
from glimsum_workers.frames.roots import Roots
from glimsum_workers.light.kept_passes import LightRoom
from glimsum_workers.looking.wedge_sheet import WedgePlace, write_wedge
from glimsum_workers.looking.wedge_shot import KnownShot
from glimsum_workers.writing.writer import Writer


def make_asked_wedge(
    order: WedgeOrder, ledger: Ledger, roots: Roots, room: LightRoom, writer: Writer
) -> Wedged:
    """Make a wedge with what its version was found to be, and what is kept of the shot.

    Parameters
    ----------
    order : WedgeOrder
        What is tried.
    ledger : Ledger
        Holds what check and measuring of the version left behind; where they left nothing (it
        was cancelled), the shot is checked and measured here.
    roots : Roots
        Where this machine has the roots.
    room : LightRoom
        How much light may be kept.
    writer : Writer
        Who writes, and whether it still may.

    Returns
    -------
    Wedged
        Its sheet; or none and the problems, where the check stops the shot or a frame.

    Raises
    ------
    LeaseLost
        From the writer; nothing was written then.
    GlimsumError
        A file can't be read or written.
    """
    begun = time.monotonic()
    run = run_name(order.shot, order.version)
    wedge = describe_wedge(
        order.job, order.varied, order.frames, order.width, order.sheet, run, order.version
    )
    place = WedgePlace(
        roots,
        roots.make_folder(order.kept),
        room,
        roots.make_folder(parse_root_path(order.folder)),
        writer.token,
    )
    known = _known(order, ledger)
    try:
        written = write_wedge(wedge, order.job, place, known=known, before_rename=writer.ask)
    except JobError as error:  # trying again can't help
        told = tuple(error.problems) or (error.problem(shot=order.shot),)
        seconds = round(time.monotonic() - begun, 3)
        return Wedged(digest="", sheet=None, bytes=0, seconds=seconds, problems=told)
    return Wedged(
        digest=written.digest,
        sheet=order.sheet,
        bytes=written.bytes,
        seconds=round(time.monotonic() - begun, 3),
        problems=written.problems,
    )


def _known(order: WedgeOrder, ledger: Ledger) -> KnownShot | None:
    run = run_name(order.shot, order.version)
    checked = ledger.result(run, Stage.CHECK, SINGLE_ITEM)
    solved = ledger.result(run, Stage.SOLVE, SINGLE_ITEM)
    if checked is None or solved is None:
        return None
    return KnownShot(order.job, Checked.model_validate(checked), Solved.model_validate(solved))
