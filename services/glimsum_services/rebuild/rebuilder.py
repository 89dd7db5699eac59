"""The ledger made again from the version folders, each frame held to its digest."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from pydantic import BaseModel, ConfigDict, ValidationError

from glimsum_jobs.errors import GlimsumError, SourceError
from glimsum_jobs.ledger import STAGE_WORDS, ItemState, Ledger, Stage
from glimsum_jobs.left_behind import LeftBehind
from glimsum_jobs.orders import RunOrder
from glimsum_jobs.problems import Problem, Rank
from glimsum_jobs.restored import RestoredRun, restore_run
from glimsum_services.joining import Maker
from glimsum_services.rebuild.masters import read_masters
from glimsum_services.rebuild.remarks import (
    never_taken,
    torn,
    twice,
    unusable,
    was_asked_again,
)
from glimsum_services.store.connection import adopt, connect
from glimsum_services.store.joined import Joined
from glimsum_services.store.keys import Keys
from glimsum_services.store.ledger import RedisLedger
from glimsum_services.store.restore import Restorer
from glimsum_services.store.shots import Shots
from glimsum_services.version_disk import (
    find_versions,
    read_lines,
    read_order,
    read_text,
)
from glimsum_services.wishes import read_wishes

READERS = 4
"""Masters read at once: enough to keep a disk busy, few enough for a spinning one."""

PIECE_BYTES = 1024 * 1024

AT_WORK = "at work already: left as it is"
WHOLE = "in the ledger already, and whole: left as it is"
IN_LEDGER = "in the ledger already: left as it is"
RESTORED = "restored"
REOPENED = "reopened: masters are not as they were written"


class RebuiltRun(BaseModel):
    """What became of one version."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    run: str
    folder: str
    what: str
    """Restored, reopened, or left as it is."""
    state: str
    frames: int
    done: int
    """Frames that stay as they are."""
    set_aside: int
    to_make: int
    damaged: tuple[str, ...]
    """Frames whose master was not the one that was written: they are made again."""


class Rebuilt(BaseModel):
    """What a rebuild did."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    runs: tuple[RebuiltRun, ...]
    problems: tuple[Problem, ...]
    read_bytes: int


@dataclass
class Rebuilder:
    """Makes a ledger again.

    Attributes
    ----------
    shots : Shots
        Where orders are kept.
    ledger : Ledger
        Where the standing of runs is read.
    restorer : Restorer
        Writes runs.
    joined : Joined
        Who began each run.
    roots : mapping of str to Path
        The roots of this machine.
    quick : bool
        Hold masters to their size only, not to their digest.
    tell : callable
        Told of each run as soon as it is done.
    """

    shots: Shots
    ledger: Ledger
    restorer: Restorer
    joined: Joined
    roots: Mapping[str, Path]
    quick: bool = False
    tell: Callable[[RebuiltRun], None] = lambda _: None

    def rebuild(self) -> Rebuilt:
        """Restore every version that is found below the roots.

        Runs at work in the ledger are left alone; so may this be called at any time, and again.

        Raises
        ------
        StoreError
            The ledger gives no answer; what was restored stays, call again.
        """
        self._read = 0
        problems: list[Problem] = []
        orders = list(self._orders(problems))
        runs = []
        for order in orders:
            try:
                run = self._rebuild_run(order, orders, problems)
            except (SourceError, ValidationError) as error:
                problems.append(unusable(order, error))
                continue
            if run is not None:
                runs.append(run)
                self.tell(run)
        self._keep_sequences(orders)
        return Rebuilt(runs=tuple(runs), problems=tuple(problems), read_bytes=self._read)

    def _orders(self, problems: list[Problem]) -> Iterator[RunOrder]:
        """Give the orders found, oldest first, each run once."""
        found = []
        for folder in find_versions(self.roots):
            try:
                found.append(read_order(self.roots, folder))
            except GlimsumError as error:
                problems.append(error.problem(Rank.REMARK, file=str(folder)))
        known: dict[str, RunOrder] = {}
        for order in sorted(found, key=lambda each: (each.made, each.run)):
            if order.run in known:
                problems.append(twice(order, known[order.run]))
                continue
            known[order.run] = order
            yield order

    def _rebuild_run(
        self, order: RunOrder, orders: Sequence[RunOrder], problems: list[Problem]
    ) -> RebuiltRun | None:
        record = self.ledger.record(order.run)
        if record is not None and record.ended is None:
            return self._told(order, AT_WORK, record.state.value)
        if record is not None and self.quick:
            return self._told(order, IN_LEDGER, record.state.value)
        left = read_lines(self.roots, order)
        if record is None and not left.lines and was_asked_again(order, orders):
            problems.append(never_taken(order))
            return None
        problems += torn(order, left)
        masters = read_masters(self.roots, order, left.lines, quick=self.quick)
        self._read += masters.read_bytes
        wishes = read_wishes(self.roots, order)
        restored = restore_run(order, left.lines, masters.is_whole, wishes)
        if record is not None and not restored.damaged:
            return self._told(order, WHOLE, record.state.value, restored)
        self.shots.keep(order, read_text(self.roots, order))
        self._keep_maker(order, left.lines)
        if not self.restorer.restore(restored, replace=bool(restored.damaged)):
            return self._told(order, AT_WORK, "")
        what = RESTORED if record is None else REOPENED
        state = restored.state.value if restored.state else STAGE_WORDS[restored.stage].value
        return self._told(order, what, state, restored)

    def _keep_maker(self, order: RunOrder, lines: Sequence[LeftBehind]) -> None:
        """Say again what program began the run: no other may go on with it."""
        begun = [line for line in lines if line.program]
        if begun:
            first = min(begun, key=lambda line: line.token)
            self.joined.begin(order.run, str(Maker(first.program, first.pixel_epoch)))

    def _told(
        self, order: RunOrder, what: str, state: str, restored: RestoredRun | None = None
    ) -> RebuiltRun:
        def count(state: ItemState) -> int:
            return restored.count(Stage.COMBINE, state) if restored else 0

        done, aside = count(ItemState.DONE), count(ItemState.SET_ASIDE)
        record = self.ledger.record(order.run) if restored is None else None
        if record is not None and Stage.COMBINE in record.counts:
            done, aside = record.counts[Stage.COMBINE].done, record.counts[Stage.COMBINE].set_aside
        over = state in ("refused", "cancelled")
        return RebuiltRun(
            run=order.run,
            folder=order.folder,
            what=what,
            state=state,
            frames=order.asked.count,
            done=done,
            set_aside=aside,
            to_make=0 if over else order.asked.count - done - aside,
            damaged=() if restored is None else restored.damaged,
        )

    def _keep_sequences(self, orders: Sequence[RunOrder]) -> None:
        """Restore sequences the ledger does not know: of each shot the newest version in it."""
        newest: dict[str, dict[str, str]] = {}
        for order in orders:
            if order.sequence is not None:
                newest.setdefault(order.sequence, {})[order.shot] = order.run
        for name, runs in newest.items():
            if self.shots.sequence(name) is None:
                self.shots.keep_sequence(name, list(runs.values()))


def rebuild_ledger(
    url: str,
    roots: Mapping[str, Path],
    *,
    quick: bool = False,
    tell: Callable[[RebuiltRun], None] = lambda _: None,
) -> Rebuilt:
    """Restore every version found below `roots` into the ledger at `url`; see `Rebuilder`."""
    client = connect(url)
    try:
        adopt(client, Keys())
        told = Rebuilder(
            Shots(client),
            RedisLedger(client),
            Restorer(client),
            Joined(client),
            roots,
            quick=quick,
            tell=tell,
        )
        return told.rebuild()
    finally:
        client.close()
