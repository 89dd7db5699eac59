"""The night report whole: which runs, what of each, what to do first."""

import shutil
import threading
import time
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from glimsum_jobs.errors import GlimsumError
from glimsum_jobs.ledger import Counts, Ledger, RunRecord, RunState
from glimsum_jobs.orders import is_wedge, run_name
from glimsum_jobs.paths import parse_root_path
from glimsum_services.report.first_things import put_first
from glimsum_services.report.gaps import Working, find_gaps
from glimsum_services.report.models import MachineNow, NightReport, Share, ShotReport, Totals
from glimsum_services.report.shot_report import ShotReporter, utc_text
from glimsum_services.report.tally import Tally, read_tally
from glimsum_services.store.machines import Machine, Machines
from glimsum_services.store.shots import Shots
from glimsum_services.store.troubles import RunTroubles, Troubles

MOST_RUNS = 200
"""Most versions of one report; more are counted."""
MOST_SHOTS = 2000
"""Newest shots that are looked through for work since a time."""
SILENT_AFTER_S = 10.0
VANISHED_WITHIN_S = 86_400.0
READING_S = 5.0
"""Line files of so many seconds are read for one report; what is left is read for the next."""
MOST_KEPT = 400
NOT_READ = "times and machines are not read yet, there is so much; ask again"


class Reporter:
    """Makes night reports; remembers what it read of line files.

    Parameters
    ----------
    shots : Shots
        Orders and sequences.
    ledger : Ledger
        Where runs stand.
    troubles : Troubles
        What was set aside.
    machines : Machines
        Who is there.
    roots : mapping of str to Path
        The roots of this machine.
    """

    def __init__(
        self,
        shots: Shots,
        ledger: Ledger,
        troubles: Troubles,
        machines: Machines,
        roots: Mapping[str, Path],
    ) -> None:
        self._shots = shots
        self._ledger = ledger
        self._troubles = troubles
        self._machines = machines
        self._roots = roots
        self._shot_reporter = ShotReporter(ledger)
        self._lock = threading.Lock()
        self._tallies: dict[str, Tally] = {}
        self._made: dict[str, tuple[tuple[int, int], ShotReport]] = {}

    def night(self, since: float | None, runs: Sequence[str] | None = None) -> NightReport:
        """Return the report of a time, or of named runs.

        Parameters
        ----------
        since : float, optional
            Seconds since 1970 UTC: runs that were open then or later, and gaps since then. None:
            without bound.
        runs : sequence of str, optional
            These runs and no others.

        Raises
        ------
        StoreError
            The ledger gives no answer.
        """
        now = time.time()
        notes: list[str] = []
        records = self._records(since, runs, notes)
        chosen = records[:MOST_RUNS]
        deadline = time.monotonic() + READING_S
        with self._lock:  # two readers at once would enter every line twice
            shots = [self._shot(record, deadline) for record in chosen]
            unread = sum(not self._tallies[each.run].looked_at for each in chosen)
            working = [
                Working(each, set(self._tallies[each.run].busy)) for each in chosen
                if each.run in self._tallies
            ]  # fmt: skip
        machines = self._machines_now()
        heard = sum(not each.silent for each in machines)
        first = put_first(shots, chosen, machines, self._rooms(chosen, shots))
        notes += _left_out(records[MOST_RUNS:])
        notes += [note for shot in shots for note in shot.notes]
        return NightReport(
            at=utc_text(now),
            since=None if since is None else utc_text(since),
            totals=_totals(shots),
            first=first.matters,
            more_first=first.more,
            shots=shots,
            more_shots=len(records) - len(chosen),
            unread=unread,
            machines=machines,
            shares=_sum(share for shot in shots for share in shot.machines),
            gaps=find_gaps(working, since=since, now=now, machines=heard),
            notes=notes,
        )

    def _records(
        self, since: float | None, runs: Sequence[str] | None, notes: list[str]
    ) -> list[RunRecord]:
        """Return the standing of the runs of a report.

        Those in trouble come first, so that what is beyond the bound is well; then those at work.
        """
        if runs is not None:
            return [each for each in map(self._ledger.record, runs) if each is not None]
        opened = [run for run in self._ledger.open_runs() if not is_wedge(run)]
        found = {run: self._ledger.record(run) for run in opened}
        after, looked = None, 0
        while looked < MOST_SHOTS:
            page = self._shots.list_shots(after, 500)
            looked += len(page.names)
            for shot in page.names:
                for version in reversed(self._shots.versions(shot)):
                    run = run_name(shot, version)
                    record = found.get(run) or self._ledger.record(run)
                    if record is None or not _is_of(record, since):
                        break
                    found[run] = record
            after = page.after
            if after is None:
                break
        else:
            notes.append(f"only the newest {MOST_SHOTS} shots and those at work were looked at")
        known = [each for each in found.values() if each is not None]
        return sorted(known, key=lambda each: (_is_well(each), each.ended is not None, -each.begun))

    def _shot(self, record: RunRecord, deadline: float) -> ShotReport:
        order = self._shots.order(record.run)
        if record.run not in self._tallies:
            if len(self._tallies) >= MOST_KEPT:
                self._tallies.clear()
                self._made.clear()
            self._tallies[record.run] = Tally(order)
        tally = self._tallies[record.run]
        late = time.monotonic() >= deadline
        notes = [] if late and tally.looked_at else [f"{record.run}: {NOT_READ}"]
        if not late:
            notes = read_tally(tally, self._roots)
        stands = (record.revision, tally.lines)
        known = self._made.get(record.run)
        if known is not None and known[0] == stands and known[1].notes == notes:
            return known[1]
        counts = record.counts.get(record.stage, Counts())
        aside = any(each.set_aside for each in record.counts.values())
        begun = aside or counts.left or record.ended is not None
        troubles = self._troubles.of(record.run) if begun else RunTroubles(aside=(), came_back=0)
        made = self._shot_reporter.report(record, tally, troubles, notes)
        self._made[record.run] = (stands, made)
        return made

    def _machines_now(self) -> list[MachineNow]:
        there = {each.machine for each in self._machines.heard_within(SILENT_AFTER_S)}
        known: Sequence[Machine] = self._machines.heard_within(VANISHED_WITHIN_S)
        return [
            MachineNow(
                host=each.host,
                machine=each.machine,
                slots=each.slots,
                heard=utc_text(each.heard),
                silent=each.machine not in there,
                lacks=dict(list(each.lacks.items())[:20]),
            )
            for each in known[:200]
        ]

    def _rooms(
        self, records: Sequence[RunRecord], shots: Sequence[ShotReport]
    ) -> dict[str, tuple[int | None, int]]:
        """Return for each root that is written to: bytes free (None: not there), bytes to come."""
        rooms: dict[str, tuple[int | None, int]] = {}
        for record, shot in zip(records, shots, strict=True):
            if record.ended is not None:
                continue
            root = parse_root_path(shot.folder).root
            tally = self._tallies[record.run]
            mean = tally.bytes_made / max(1, sum(each >= 0 for each in tally.seconds))
            free, wanted = rooms.get(root, (None, 0))
            if root not in rooms:
                try:
                    free = shutil.disk_usage(self._roots[root]).free
                except (OSError, KeyError):
                    free = None
            rooms[root] = (free, wanted + int(mean * shot.left))
        return rooms


def named_runs(shots: Shots, name: str) -> list[str] | None:
    """Return the runs a name means: a version, a shot (its newest version), or a sequence."""
    shot, slash, version = name.partition("/v")
    try:
        versions = shots.versions(shot)
    except GlimsumError:
        return None
    if slash and version.isdecimal() and int(version) in versions:
        return [run_name(shot, int(version))]
    if not slash and versions:
        return [run_name(shot, versions[-1])]
    return shots.sequence(name)


def _is_of(record: RunRecord, since: float | None) -> bool:
    return since is None or record.ended is None or record.ended >= since


def _is_well(record: RunRecord) -> bool:
    aside = any(counts.set_aside for counts in record.counts.values())
    troubled = (RunState.REFUSED, RunState.DONE_WITH_REMARKS, RunState.CANCELLED, RunState.PAUSED)
    return not (aside or record.state in troubled or record.conflicts)


def _left_out(records: Sequence[RunRecord]) -> list[str]:
    """Return what is to be said of runs that are not in the report."""
    if not records:
        return []
    ill = sum(not _is_well(each) for each in records)
    words = f"{len(records)} more versions are not in this report, {ill} of them in trouble"
    return [f"{words}; name a shot or a sequence to see it"]


def _totals(shots: Sequence[ShotReport]) -> Totals:
    def count(state: RunState) -> int:
        return sum(shot.state == state for shot in shots)

    return Totals(
        shots=len(shots),
        asked=sum(shot.asked for shot in shots),
        made=sum(shot.made for shot in shots),
        reused=sum(shot.reused for shot in shots),
        set_aside=sum(shot.set_aside for shot in shots),
        left=sum(shot.left for shot in shots),
        refused=count(RunState.REFUSED),
        cancelled=count(RunState.CANCELLED),
    )


def _sum(shares: Iterable[Share]) -> list[Share]:
    found: dict[str, Share] = {}
    for each in shares:
        known = found.get(each.host, Share(host=each.host, frames=0, hours=0.0))
        found[each.host] = Share(
            host=each.host,
            frames=known.frames + each.frames,
            hours=round(known.hours + each.hours, 4),
        )
    return sorted(found.values(), key=lambda share: (-share.frames, share.host))
