"""From a wish to a wedge a worker can take: on disk first, then in the ledger; the oldest go."""

import logging
import threading
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path

from glimsum_jobs.errors import GlimsumError, JobError
from glimsum_jobs.ledger import Ledger, Stage
from glimsum_jobs.orders import WEDGES, RunOrder, WedgeOrder, wedge_name
from glimsum_jobs.paths import parse_root_path
from glimsum_jobs.problems import Place, Problem, Rank
from glimsum_jobs.varied import Varied
from glimsum_jobs.wedge_checks import refuse_wedge
from glimsum_services.folders import make_version_folder, remove_folder, write_whole
from glimsum_services.store.wedges import Wedges

log = logging.getLogger(__name__)

ORDER_FILE = "order.json"
"""Name of the order in the wedge's folder."""
WEDGE_PRIORITY = 100
MOST_KEPT = 50
"""Wedges of a shot; the oldest that have ended go when another is asked for."""


class WedgeDesk:
    """Takes wishes for wedges.

    Parameters
    ----------
    wedges : Wedges
        Where orders are kept.
    ledger : Ledger
        Where runs are opened.
    roots : mapping of str to Path
        The roots of this machine; folders of wedges are made here.
    """

    def __init__(self, wedges: Wedges, ledger: Ledger, roots: Mapping[str, Path]) -> None:
        self._wedges = wedges
        self._ledger = ledger
        self._roots = roots
        self._one_at_a_time = threading.Lock()

    def ask(
        self, made_of: RunOrder, varied: Sequence[Varied], frames: Sequence[int], width: int
    ) -> WedgeOrder:
        """Take in a wedge.

        Parameters
        ----------
        made_of : RunOrder
            The version whose job is varied.
        varied : sequence of Varied
            One or two values.
        frames : sequence of int
            Shot frames.
        width : int
            Largest width of a picture, pixels.

        Returns
        -------
        WedgeOrder
            It lies on the disk and stands in the ledger.

        Raises
        ------
        JobError
            It can't be made of this job, or too many wedges of the shot wait already.
        OutputError
            Its folder can't be made.
        StoreError
            The ledger gives no answer.
        """
        refuse_wedge(made_of.job, varied, frames)
        with self._one_at_a_time:
            self._make_room(made_of.shot)
            order = self._make(made_of, varied, frames, width)
            self._ledger.open(order.run, priority=WEDGE_PRIORITY, stage=Stage.WEDGE)
        return order

    def _make(
        self, made_of: RunOrder, varied: Sequence[Varied], frames: Sequence[int], width: int
    ) -> WedgeOrder:
        output = parse_root_path(made_of.job.output).child(WEDGES)
        while True:
            last = max(self._wedges.numbers(made_of.shot), default=0)
            number, folder, here = make_version_folder(self._roots, output, last, "w")
            order = WedgeOrder(
                run=wedge_name(made_of.shot, number),
                shot=made_of.shot,
                wedge=number,
                version=made_of.version,
                job=made_of.job,
                job_digest=made_of.job_digest,
                varied=tuple(varied),
                frames=tuple(frames),
                width=width,
                folder=str(folder),
                made=datetime.now(UTC).isoformat(timespec="seconds").replace("+00:00", "Z"),
            )
            write_whole(here, ORDER_FILE, order.model_dump_json(by_alias=True, indent=1).encode())
            if self._wedges.keep(order):
                return order

    def _make_room(self, shot: str) -> None:
        """Remove the oldest wedges that have ended, so that one more may be made."""
        numbers = self._wedges.numbers(shot)
        for number in numbers[:-1]:  # never the newest: no number is given twice
            if len(numbers) < MOST_KEPT:
                return
            record = self._ledger.record(wedge_name(shot, number))
            if record is not None and record.ended is not None:
                self._remove(shot, number)
                numbers.remove(number)
        if len(numbers) >= MOST_KEPT:
            problem = Problem(
                rank=Rank.STOPS_SHOT,
                what="too many wedges of this shot wait",
                place=Place(shot=shot),
                seen=f"{len(numbers)} that have not ended",
                expected=f"fewer than {MOST_KEPT}",
                remedy="Wait until some are made, or cancel some.",
            )
            raise JobError(f"no further wedge of shot {shot} is taken now", [problem])

    def _remove(self, shot: str, number: int) -> None:
        order = self._wedges.find(wedge_name(shot, number))
        if order is None:  # another process made room just now
            return
        try:
            remove_folder(self._roots, parse_root_path(order.folder))
        except GlimsumError as error:  # it is in nobody's way: its number is never given again
            log.warning("%s: %s", order.run, error)
        self._wedges.forget(shot, number)
