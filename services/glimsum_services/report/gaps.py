"""Hours in which work was asked for and nothing was made, and why, as far as it is known."""

from collections.abc import Sequence
from dataclasses import dataclass

from glimsum_jobs.ledger import Control, Hours, RunRecord
from glimsum_services.report.models import Gap
from glimsum_services.report.shot_report import utc_text

SHORTEST_MINUTES = 10
"""A pause as short as this is no gap."""
MOST_GAPS = 50
LONGEST_DAYS = 62
"""Gaps are looked for no further back."""

UNKNOWN = "not known: the service or the machines were off, asleep, or cut off"


@dataclass(frozen=True)
class Working:
    """A run, as far as gaps are concerned.

    Attributes
    ----------
    record : RunRecord
        Where it stands.
    busy : set of int
        Minutes since 1970 in which something of it was made.
    """

    record: RunRecord
    busy: set[int]


def find_gaps(
    runs: Sequence[Working], *, since: float | None, now: float, machines: int
) -> list[Gap]:
    """Return the gaps of a night, oldest first.

    Parameters
    ----------
    runs : sequence of Working
        Every run that was or is at work.
    since, now : float
        The time looked at, seconds since 1970 UTC; None: since the first run began.
    machines : int
        How many machines are heard now.

    Returns
    -------
    list of Gap
        At most `MOST_GAPS`, the longest; each of more than `SHORTEST_MINUTES` minutes in which
        a run was open and no item was in work that was finished later.
    """
    if not runs:
        return []
    begin = max(
        since if since is not None else min(run.record.begun for run in runs),
        now - LONGEST_DAYS * 86_400,
    )
    first, last = int(begin // 60), int(now // 60)
    wanted = [False] * (last - first + 1)
    for run in runs:
        opened = max(first, int(run.record.begun // 60))
        ended = last if run.record.ended is None else min(last, int(run.record.ended // 60))
        wanted[opened - first : ended - first + 1] = [True] * max(0, ended - opened + 1)
    for run in runs:
        for minute in run.busy:
            if first <= minute <= last:
                wanted[minute - first] = False
    if any(_works_now(run.record) for run in runs):
        _clear_end(wanted)
    gaps = [
        Gap(
            first=utc_text((first + a) * 60),
            last=utc_text((first + b) * 60),
            minutes=b - a,
            why=_why(runs, first + a, first + b, last, machines),
        )
        for a, b in _stretches(wanted)
        if b - a > SHORTEST_MINUTES
    ]
    longest = sorted(gaps, key=lambda gap: -gap.minutes)[:MOST_GAPS]
    return sorted(longest, key=lambda gap: gap.first)


def _works_now(record: RunRecord) -> bool:
    counts = record.counts.get(record.stage)
    return record.ended is None and counts is not None and counts.working > 0


def _clear_end(wanted: list[bool]) -> None:
    """Take away the end: what is in work now is no gap though nothing of it was entered."""
    place = len(wanted) - 1
    while place >= 0 and wanted[place]:
        wanted[place] = False
        place -= 1


def _stretches(wanted: list[bool]) -> list[tuple[int, int]]:
    """Return begin and end (not included) of each stretch of True."""
    edges = [
        place
        for place in range(len(wanted) + 1)
        if (place < len(wanted) and wanted[place]) != (place > 0 and wanted[place - 1])
    ]
    return list(zip(edges[::2], edges[1::2], strict=True))


def _why(runs: Sequence[Working], first: int, last: int, now: int, machines: int) -> str:
    """Return the reason that every run open in the gap shares, or that it is not known."""
    open_then = [
        run.record
        for run in runs
        if run.record.begun < last * 60
        and (run.record.ended is None or run.record.ended > first * 60)
    ]
    if open_then and all(_outside(each.hours, first, last) for each in open_then):
        return "outside the hours that were stated"
    if last >= now:
        lasting = [_lasting(each) for each in open_then]
        if lasting and all(lasting):
            return "; ".join(dict.fromkeys(str(each) for each in lasting))
        if machines == 0:
            return "no machine works"
    return UNKNOWN


def _lasting(record: RunRecord) -> str:
    """Return why a run rests now, or nothing."""
    if record.ended is not None:
        return "ended"
    if record.control is Control.PAUSE:
        return f"{record.run} is paused"
    return f"{record.run} waits: {record.waits_for}" if record.waits_for else ""


def _outside(hours: Hours, first: int, last: int) -> bool:
    """Return whether nearly all minutes of a gap lie outside the hours of a run."""
    closed = sum(not _is_open(hours, minute) for minute in range(first, last))
    return closed >= (last - first) - SHORTEST_MINUTES and closed > 0


def _is_open(hours: Hours, minute: int) -> bool:
    if hours.not_before is not None and minute * 60 < hours.not_before:
        return False
    if hours.window is None:
        return True
    begin, end = hours.window
    of_day = minute % 1440
    if begin <= end:
        return begin <= of_day <= end
    return of_day >= begin or of_day <= end
