"""The last stage: every master read again, then movie, contact sheet and manifest."""

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from glimsum_jobs.ledger import ItemRecord, ItemState, Stage
from glimsum_jobs.left_behind import LeftBehind
from glimsum_jobs.measurements import Checked, Combined, Finished, Solved
from glimsum_jobs.orders import RunOrder
from glimsum_jobs.paths import parse_root_path
from glimsum_jobs.problems import Place, Problem, Rank
from glimsum_workers.engine.viewing import DisplayCodes
from glimsum_workers.frames.manifest import MANIFEST, read_lines, write_manifest
from glimsum_workers.frames.master_reading import read_master
from glimsum_workers.frames.masters import digest_file
from glimsum_workers.frames.roots import Roots
from glimsum_workers.frames.sheets import Labelled, draw_card, write_sheet
from glimsum_workers.light.look import Look
from glimsum_workers.light.outage_remarks import tell_outages
from glimsum_workers.writing.track_files import TRACKS, write_tracks
from glimsum_workers.writing.version_folder import LINES, MASTERS, VIEWING
from glimsum_workers.writing.viewing_copy import write_viewing_copy
from glimsum_workers.writing.writer import Writer

SHEET_PICTURES = 12
SHEET_COLUMNS = 4
SHEET_WIDTH_PX = 320


def finish_shot(
    order: RunOrder,
    checked: Checked,
    solved: Solved,
    items: Sequence[ItemRecord],
    roots: Roots,
    *,
    writer: Writer,
) -> Finished:
    """Read every master again and write what belongs to the whole shot.

    Parameters
    ----------
    order : RunOrder
        Names the version folder.
    checked, solved : Checked, Solved
        Their remarks are collected.
    items : sequence of ItemRecord
        The frames as the ledger has them, in order.
    roots : Roots
        Where this machine has the roots.
    writer : Writer
        Who writes.

    Returns
    -------
    Finished
        Names, sizes and all remarks.

    Raises
    ------
    OutputError
        Something can't be written whole.
    """
    version = parse_root_path(order.folder)
    masters = roots.make_folder(version.child(MASTERS))
    whole: dict[int, Combined] = {}
    remarks = [*checked.problems, *solved.problems]
    for item in items:
        writer.ask()
        combined = None if item.result is None else Combined.model_validate(item.result)
        if item.state is not ItemState.DONE or combined is None:
            remarks += _set_aside(order, item, remarks)
        elif _is_whole(masters / combined.name, combined):
            whole[combined.frame] = combined
            remarks += combined.remarks
        else:
            remarks.append(_damaged(order, combined))
    remarks += tell_outages(order.job, whole)
    # A frame that was tried again after its file was put right has no dead file any more.
    told = {None, *order.asked.numbers} - whole.keys()
    remarks = [p for p in remarks if p.rank is not Rank.STOPS_FRAME or p.place.frame in told]
    movie = sheet = None
    viewing = roots.make_folder(version.child(VIEWING))
    name = f"{order.shot}_v{order.version:03d}"
    drawing = _Drawing(order, whole, masters)
    if whole:
        if order.job.viewing.movie == "h264":
            movie = write_viewing_copy(order, drawing.size(), drawing.draw, viewing, writer=writer)
            remarks += movie.remarks
        sheet = f"{VIEWING}/{name}_contact.jpg"
        write_sheet(
            viewing,
            f"{name}_contact.jpg",
            list(drawing.sheet()),
            columns=SHEET_COLUMNS,
            title=f"{order.run}: {len(whole)} of {order.asked.count} frames",
            token=writer.token,
            before_rename=writer.ask,
        )
    if solved.follows:
        tracks = roots.make_folder(version.child(TRACKS))
        write_tracks(order.job, solved.follows, tracks, writer.token, writer.ask)
    finished = Finished(
        frames=len(whole),
        reused=sum(each.reused is not None for each in whole.values()),
        bytes=sum(each.bytes for each in whole.values()),
        movie=None if movie is None else movie.name,
        sheet=sheet,
        manifest=MANIFEST,
        flashing=None if movie is None else movie.flashing,
        remarks=tuple(remarks),
    )
    head = {
        "run": order.run,
        "made": order.made,
        "job_digest": order.job_digest,
        "earlier": order.earlier,
        "changes": list(order.changes),
        "checked": checked.model_dump(mode="json"),
        "solved": solved.model_dump(mode="json"),
        "finished": finished.model_dump(mode="json"),
    }
    lines = read_lines(roots.make_folder(version.child(LINES))).records
    write_manifest(roots.make_folder(version), head, _merged(lines, whole), writer.token)
    return finished


def _merged(
    records: Sequence[Mapping[str, Any]], whole: Mapping[int, Combined]
) -> Iterator[dict[str, Any]]:
    """Give one entry a frame in order: what it left behind, by whom it was made and when.

    Of several lines of a frame the newest counts whose file is the one that is there.
    """
    lines = [LeftBehind.model_validate(each) for each in records if each["stage"] == Stage.COMBINE]
    newest = {
        int(line.item): line
        for line in sorted(lines, key=lambda line: line.token)
        if int(line.item) in whole
        and line.result.get("file_digest") == whole[int(line.item)].file_digest
    }
    for frame in sorted(newest):
        line = newest[frame]
        told = line.model_dump(mode="json", include={"worker", "host", "ended"})
        yield {**line.result, **told}


def _is_whole(path: Path, combined: Combined) -> bool:
    try:
        return digest_file(path) == combined.file_digest
    except OSError:
        return False


def _set_aside(order: RunOrder, item: ItemRecord, known: list[Problem]) -> list[Problem]:
    """Return the problem of a frame without a master, unless the check has named it."""
    frame = int(item.item)
    if any(p.rank is Rank.STOPS_FRAME and p.place.frame == frame for p in known):
        return []
    failure = item.failure
    return [
        Problem(
            rank=Rank.STOPS_FRAME,
            what="the frame is set aside",
            place=Place(shot=order.shot, frame=frame),
            seen=failure.message if failure else "no master and no reason",
            expected="a master",
            remedy=f"Mend or replace what is named, then: glimsum retry {order.run}",
        )
    ]


def _damaged(order: RunOrder, combined: Combined) -> Problem:
    return Problem(
        rank=Rank.STOPS_FRAME,
        what="the master on the disk is not the one that was written",
        place=Place(shot=order.shot, frame=combined.frame, file=combined.name),
        seen="another digest, or no file",
        expected=f"SHA-256 {combined.file_digest}",
        remedy="Look at the disk; then `glimsum rebuild` has it made again.",
    )


class _Drawing:
    """Draws finished frames as they are looked at."""

    def __init__(self, order: RunOrder, whole: Mapping[int, Combined], masters: Path) -> None:
        self._order, self._whole, self._masters = order, whole, masters
        self._look = Look(order.job)

    def size(self) -> tuple[int, int]:
        """Return height and width of the viewing copy."""
        height, width, _ = self._view(next(iter(self._whole)), self._width).shape
        return height, width

    def draw(self, frame: int) -> DisplayCodes:
        """Return a frame; one without a master is a card that says so."""
        if frame in self._whole:
            return self._view(frame, self._width)
        height, width = self.size()
        return draw_card(f"{self._order.shot} frame {frame} is set aside", width, height)

    def sheet(self) -> Iterator[Labelled]:
        """Give small pictures from all over the shot."""
        frames = sorted(self._whole)
        count = min(SHEET_PICTURES, len(frames))
        for index in np.linspace(0, len(frames) - 1, count).round().astype(int):
            yield Labelled(f"{frames[index]}", self._view(frames[index], SHEET_WIDTH_PX))

    @property
    def _width(self) -> int:
        return self._order.job.viewing.width

    def _view(self, frame: int, width: int) -> DisplayCodes:
        rgb, _, _ = read_master(self._masters / self._whole[frame].name)
        return self._look.of_master(rgb, width)
