"""What to do first: the matters of all shots, the most pressing on top."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import get_args

from glimsum_jobs.ledger import RunRecord
from glimsum_services.report.models import Kind, MachineNow, Matter, ShotReport

MOST_FIRST = 60
"""Most matters listed; more are counted."""
SPARE = 1.05
"""Room that is asked for above what the frames left will take."""


@dataclass(frozen=True)
class First:
    """What to do first, and how much more there is."""

    matters: list[Matter]
    more: int


def put_first(
    shots: Sequence[ShotReport],
    records: Sequence[RunRecord],
    machines: Sequence[MachineNow],
    rooms: Mapping[str, tuple[int | None, int]],
) -> First:
    """Return what needs a person, in the order of `Kind`.

    Parameters
    ----------
    shots : sequence of ShotReport
        All shots of the report; every matter of theirs is here or counted.
    records : sequence of RunRecord
        Their standing.
    machines : sequence of MachineNow
        Machines heard in the last day.
    rooms : mapping
        By root: bytes free (None: the root is not there), bytes to come.
    """
    left = any(record.ended is None for record in records)
    found = [
        *_machines(machines, work_is_left=left),
        *_rooms(rooms),
        *(matter for shot in shots for matter in shot.matters),
    ]
    order = {kind: place for place, kind in enumerate(get_args(Kind))}
    found.sort(key=lambda matter: order.get(matter.kind, len(order)))
    beyond = sum(shot.more for shot in shots)
    return First(found[:MOST_FIRST], max(0, len(found) - MOST_FIRST) + beyond)


def _machines(machines: Sequence[MachineNow], *, work_is_left: bool) -> list[Matter]:
    silent = [each for each in machines if each.silent]
    found = [
        _matter(
            "machines",
            f"machine {each.host} fell silent without saying that it stops",
            seen=f"last heard {each.heard}",
            expected="a sign of life every few seconds",
            remedy="Look whether it is on and on the network; its frames went to others.",
        )
        for each in silent
    ]
    if work_is_left and len(silent) == len(machines):
        found.insert(
            0,
            _matter(
                "machines",
                "no machine works, and there is work left",
                seen="none heard",
                expected="at least one",
                remedy="Start glimsum up, or glimsum worker on another machine.",
            ),
        )
    found += [
        _matter(
            "machines",
            f"machine {each.host} can't work on {run}: {lack}",
            run=run,
            remedy="It takes the shot again by itself once it has what it lacks.",
        )
        for each in machines
        for run, lack in each.lacks.items()
        if not each.silent
    ]
    return found


def _rooms(rooms: Mapping[str, tuple[int | None, int]]) -> list[Matter]:
    found = []
    for root, (free, wanted) in sorted(rooms.items()):
        if free is None:
            found.append(
                _matter(
                    "disk",
                    f"the root {root} is not there",
                    seen="no such folder",
                    expected="a folder, mounted",
                    remedy="Mount the storage, or correct the root in the settings.",
                )
            )
        elif free < wanted * SPARE:
            found.append(
                _matter(
                    "disk",
                    f"the frames left do not fit on the disk of root {root}",
                    seen=f"{free / 2**30:.1f} GiB free",
                    expected=f"{wanted * SPARE / 2**30:.1f} GiB for what is left to make",
                    remedy="Make room; nothing is lost, work waits and goes on by itself.",
                )
            )
    return found


def _matter(
    kind: str, what: str, *, seen: str = "", expected: str = "", remedy: str = "", run: str = ""
) -> Matter:
    return Matter(
        kind=kind, run=run, what=what, pass_name="", frames="", count=0, seen=seen,
        expected=expected, remedy=remedy,
    )  # fmt: skip
