"""Whether this machine may work: the same program, the same folders; asked before each ticket."""

import logging
import socket
import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from glimsum_jobs.errors import StoreError
from glimsum_jobs.ledger import Ledger
from glimsum_jobs.orders import Orders
from glimsum_jobs.paths import parse_root_path
from glimsum_jobs.problems import Place
from glimsum_jobs.shot import ShotJob
from glimsum_services.root_markers import MARKER, make_marker, read_marker
from glimsum_services.rooted import paths_of
from glimsum_services.store.joined import Joined, KnownRoot

log = logging.getLogger(__name__)

NOT_KNOWN = KnownRoot(id="", folder="")


@dataclass(frozen=True)
class Maker:
    """What decides the bytes of a frame, besides its sources: nothing else may go on with a run.

    Attributes
    ----------
    program : str
        Version of the program; releases that differ in the last number alone work together.
    pixel_epoch : int
        Raised whenever the same sources would give other pixels.
    """

    program: str
    pixel_epoch: int

    def __str__(self) -> str:
        """Return it as the ledger keeps it."""
        return f"{'.'.join(self.program.split('.')[:2])} pixels {self.pixel_epoch}"


class Joining:
    """Looks whether this machine may join, and which runs it may work on.

    Parameters
    ----------
    joined : Joined
        What the machines agreed on.
    ledger : Ledger
        Which runs are open.
    orders : Orders
        What they need.
    roots : mapping of str to Path
        The roots of this machine.
    maker : Maker, optional
        What works here; none for a machine that makes no frames.
    home : bool
        This machine keeps the ledger: it may name its folders anew while no open run needs them.
    """

    def __init__(
        self,
        joined: Joined,
        ledger: Ledger,
        orders: Orders,
        *,
        roots: Mapping[str, Path],
        maker: Maker | None = None,
        home: bool = False,
    ) -> None:
        self._joined = joined
        self._ledger = ledger
        self._orders = orders
        self._roots = roots
        self._maker = maker
        self._home = home

    def join(self) -> None:
        """Make the roots of this machine known, and hold them against what is known.

        Raises
        ------
        StoreError
            A root is not there or is another folder than elsewhere, or a run was begun by
            another program; with what to do.
        """
        known = self._joined.roots()
        for name, folder in sorted(self._roots.items()):
            self._join_root(name, folder, known.get(name))
        for run in self._ledger.open_runs():
            other = self._other_maker(self._joined.maker_of(run))
            if other is not None:
                raise self._wrong_program(run, other)

    def root_troubles(self) -> list[StoreError]:
        """Return what is wrong with the roots of this machine now."""
        known = self._joined.roots()
        troubles = []
        for name, folder in sorted(self._roots.items()):
            try:
                self._hold_root(name, folder, known.get(name) or NOT_KNOWN)
            except StoreError as error:
                troubles.append(error)
        return troubles

    def refusal(self, run: str) -> str | None:
        """Return why this machine must leave a run alone now, or None if it may work on it."""
        known = self._joined.roots()
        for name in sorted(roots_of(self._orders.order(run).job)):
            if name not in known:
                continue  # known nowhere: the check says so, with what to do
            if name not in self._roots:
                return f"it has no root {name}; add --root {name}=FOLDER there"
            try:
                self._hold_root(name, self._roots[name], known[name])
            except StoreError as error:
                return str(error)
        if self._maker is None:
            return None
        other = self._other_maker(self._joined.begin(run, str(self._maker)))
        return None if other is None else str(self._wrong_program(run, other))

    def _join_root(self, name: str, folder: Path, known: KnownRoot | None) -> None:
        if known is None or not known.id:
            marker = _read(name, folder) or make_marker(folder)
            fresh = KnownRoot(id=marker or "", folder=f"{socket.gethostname()}:{folder}")
            if not fresh.id:
                log.warning("root %s: no marker can be written into %s", name, folder)
            known = self._joined.make_root_known(name, fresh, instead=known is not None)
        try:
            self._hold_root(name, folder, known)
        except StoreError:
            if not self._home or name in self._roots_in_use():
                raise
            marker = _read(name, folder) or make_marker(folder)
            fresh = KnownRoot(id=marker or "", folder=f"{socket.gethostname()}:{folder}")
            self._joined.make_root_known(name, fresh, instead=True)
            log.warning("root %s is another folder than before: %s", name, folder)

    def _hold_root(self, name: str, folder: Path, known: KnownRoot) -> None:
        marker = _read(name, folder)
        if not known.id or marker == known.id:
            return
        raise StoreError(
            f"the root {name} is not the folder it is elsewhere",
            place=Place(file=str(folder)),
            seen=f"marker {marker}" if marker else f"no file {MARKER}: not mounted?",
            expected=f"{MARKER} with {known.id}, as {known.folder} has it",
            remedy="Mount the storage or correct the root; if it is the right folder, write that "
            f"line into {folder / MARKER}; name another folder by another word.",
        )

    def _roots_in_use(self) -> set[str]:
        return {name for run in self._ledger.open_runs() for name in self._roots_of(run)}

    def _roots_of(self, run: str) -> Iterator[str]:
        try:
            yield from roots_of(self._orders.order(run).job)
        except StoreError:
            return

    def _other_maker(self, kept: str | None) -> str | None:
        ours = self._maker is None or kept is None or kept == str(self._maker)
        return None if ours else kept

    def _wrong_program(self, run: str, other: str) -> StoreError:
        return StoreError(
            f"{run} was begun by another version of this program",
            place=Place(shot=run),
            seen=f"this machine: {self._maker}",
            expected=other,
            remedy="Install that version here, wait until the run has ended, or cancel it and "
            "submit it again: it becomes a new version.",
        )


class Gate:
    """Asks before each ticket whether this machine may work on the run.

    Parameters
    ----------
    joining : Joining
        Who knows.
    joined : Joined
        Where it is noted that this machine leaves a run alone.
    machine : str
        Name of this machine.
    rest_s : float
        How long a slot rests after a ticket it had to leave, so that others get the next one.
    """

    def __init__(self, joining: Joining, joined: Joined, machine: str, rest_s: float = 1.0) -> None:
        self._joining = joining
        self._joined = joined
        self._machine = machine
        self._rest_s = rest_s
        self._said: dict[str, str] = {}

    def admits(self, run: str) -> bool:
        """Return whether a ticket for `run` may be worked on; if not, rest first.

        Raises
        ------
        StoreError
            The ledger gives no answer.
        """
        reason = self._joining.refusal(run)
        if reason is None:
            self._said.pop(run, None)
            return True
        if self._said.get(run) != reason:
            log.warning("%s is left to other machines: %s", run, reason, extra={"run": run})
            self._said = {**dict(list(self._said.items())[-64:]), run: reason}
        self._joined.decline(run, self._machine, reason)
        time.sleep(self._rest_s)
        return False


def roots_of(job: ShotJob) -> set[str]:
    """Return the roots a job names."""
    return {parse_root_path(path).root for _, path in paths_of(job)}


def _read(name: str, folder: Path) -> str | None:
    try:
        return read_marker(folder)
    except OSError as error:
        raise StoreError(
            f"the root {name} can't be opened",
            place=Place(file=str(folder)),
            seen=error.strerror or str(error),
            expected="a folder, mounted, that we may read",
            remedy="Mount the storage, or correct the root in this machine's settings.",
        ) from error
