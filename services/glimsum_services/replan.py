"""What the next version of a shot would cost, told before it is made."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from statistics import median

from pydantic import BaseModel, ConfigDict, ValidationError

from glimsum_jobs.errors import GlimsumError
from glimsum_jobs.frame_ranges import FrameRange, runs_of
from glimsum_jobs.ledger import SINGLE_ITEM, Stage
from glimsum_jobs.left_behind import LeftBehind, newest_standing
from glimsum_jobs.measurements import Checked
from glimsum_jobs.orders import RunOrder
from glimsum_jobs.paths import parse_root_path
from glimsum_jobs.plan import ALIGN, AVERAGE, SAMPLE, TRACK
from glimsum_jobs.shot import ShotJob
from glimsum_jobs.touched import FrameKeys, measured_anew
from glimsum_services.folders import list_folder
from glimsum_services.version_disk import MASTERS, read_lines

MOST_VERSIONS = 20
"""Earlier versions that are looked into, the newest first; as many as a worker looks into."""

KINDS = {TRACK: "places", SAMPLE: "levels", AVERAGE: "averages", ALIGN: "alignment frames"}


class Part(BaseModel):
    """Some of the frames."""

    model_config = ConfigDict(extra="forbid")

    count: int
    frames: str
    """As ``1001 to 1004, 1007``."""
    bytes: int | None
    """Of their masters; None where no earlier master tells."""


class Replan(BaseModel):
    """What the next version of a shot would cost."""

    model_config = ConfigDict(extra="forbid")

    shot: str
    earlier: str
    changes: list[str]
    combined: Part
    reused: Part
    measured: dict[str, int] | None
    """What is to be measured anew, by kind; None where no check tells."""
    seconds: float | None
    """Of combining and measuring, shared by the slots that are there; None where unknown."""
    slots: int
    notes: list[str]


@dataclass(frozen=True)
class Earlier:
    """An earlier version as its workers entered it."""

    order: RunOrder
    checked: Checked | None
    frames: Mapping[int, LeftBehind]
    measured: Sequence[LeftBehind]
    masters: frozenset[str]

    def has(self, frame: int) -> bool:
        """Return whether the master of a frame is there."""
        return frame in self.frames and self.frames[frame].result.get("name") in self.masters


def read_earlier(order: RunOrder, roots: Mapping[str, Path]) -> Earlier | None:
    """Return what an earlier version has left on the disk; None where it can't be read."""
    try:
        standing = newest_standing(read_lines(roots, order).lines)
        masters = list_folder(roots, parse_root_path(order.folder).child(MASTERS))
    except (GlimsumError, OSError):
        return None
    found = standing[Stage.CHECK].get(SINGLE_ITEM)
    try:
        checked = None if found is None else Checked.model_validate(found.result)
    except ValidationError:
        checked = None
    return Earlier(
        order,
        checked,
        {int(item): line for item, line in standing[Stage.COMBINE].items()},
        list(standing[Stage.MEASURE].values()),
        frozenset(masters),
    )


def plan_rerun(  # noqa: PLR0917  # a plan, and all it is made of
    base: RunOrder,
    job: ShotJob,
    only: FrameRange | None,
    changes: Sequence[str],
    orders: Sequence[RunOrder],
    roots: Mapping[str, Path],
    *,
    reuse: bool,
    slots: int,
) -> Replan:
    """Return what a version would cost.

    Parameters
    ----------
    base : RunOrder
        The version whose job was changed.
    job : ShotJob
        The changed job.
    only : FrameRange or None
        Frames to make; None: all.
    changes : sequence of str
        What was changed, in words.
    orders : sequence of RunOrder
        All versions of the shot, the newest first.
    roots : mapping of str to Path
        The roots of this machine.
    reuse : bool
        Whether frames are taken over.
    slots : int
        Of the machines that are there now.

    Returns
    -------
    Replan
        Frames that may have to be combined, at most: while the files stay as they are no
        other frame will be.
    """
    read = (read_earlier(order, roots) for order in orders[:MOST_VERSIONS])
    versions = [each for each in read if each is not None and _same_folder(each.order, job)]
    asked = (job.frames if only is None else only).numbers
    taken = _taken(job, asked, versions) if reuse else {}
    rest = [frame for frame in asked if frame not in taken]
    made = _sizes(versions)
    checked = next((each.checked for each in versions if each.order.run == base.run), None)
    items = measured_anew(base.job, job, checked)
    seconds, notes = _seconds(len(rest), items, versions, slots)
    return Replan(
        shot=job.shot,
        earlier=base.run,
        changes=list(changes),
        combined=Part(
            count=len(rest),
            frames=runs_of(rest),
            bytes=round(sum(made) / len(made) * len(rest)) if made else None,
        ),
        reused=Part(count=len(taken), frames=runs_of(list(taken)), bytes=sum(taken.values())),
        measured=None if items is None else _counted(items),
        seconds=seconds,
        slots=slots,
        notes=[
            "files of passes are taken to be as they were; what was copied anew is found when "
            "the version is made",
            *(["frames are taken over by sharing their blocks where the disk can do so, else "
               "copied"] if taken else []),
            *notes,
        ],
    )  # fmt: skip


def _same_folder(order: RunOrder, job: ShotJob) -> bool:
    """Return whether a version lies where the new one will lie: others are not looked into."""
    return str(parse_root_path(order.folder).folder) == job.output


def _taken(job: ShotJob, asked: range, versions: Sequence[Earlier]) -> dict[int, int]:
    """Return the frames an earlier version has, each with the bytes of its master."""
    taken: dict[int, int] = {}
    for each in versions:
        # The same check for both: their passes are the same, or their keys differ anyway.
        old, new = FrameKeys(each.order.job, each.checked), FrameKeys(job, each.checked)
        for frame in asked:
            if frame not in taken and each.has(frame) and old.key(frame) == new.key(frame):
                taken[frame] = int(each.frames[frame].result.get("bytes", 0))
        if len(taken) == len(asked):
            break
    return dict(sorted(taken.items()))


def _sizes(versions: Sequence[Earlier]) -> list[int]:
    """Return the bytes of the masters of the newest version that has some."""
    for each in versions:
        sizes = [int(line.result.get("bytes", 0)) for line in each.frames.values()]
        if sizes:
            return sizes
    return []


def _counted(items: Sequence[str]) -> dict[str, int]:
    counts: dict[str, int] = {}
    for item in items:
        kind = item.partition(":")[0]
        words = KINDS.get(kind, kind)
        counts[words] = counts.get(words, 0) + 1
    return counts


def _seconds(
    frames: int, items: Sequence[str] | None, versions: Sequence[Earlier], slots: int
) -> tuple[float | None, list[str]]:
    """Return the time it takes, from what it took, and what is not in it."""
    frame_s = _frame_seconds(versions)
    if slots == 0:
        return None, ["no machine is there now to tell how long it takes"]
    if frames and frame_s is None:
        return None, ["no frame of an earlier version tells how long one takes"]
    total, notes = frames * (frame_s or 0.0), []
    for kind in {item.partition(":")[0] for item in items or ()}:
        typical = _item_seconds(versions, kind)
        if typical is None:
            notes.append(f"how long {KINDS.get(kind, kind)} take to measure is not known")
        else:
            total += typical * sum(item.startswith(f"{kind}:") for item in items or ())
    if items is None:
        notes.append("what is to be measured is known when the check is done")
    return round(total / slots, 1), notes


def _frame_seconds(versions: Sequence[Earlier]) -> float | None:
    """Return the median of the newest version that combined frames."""
    for each in versions:
        lines = each.frames.values()
        times = [line.seconds for line in lines if not line.result.get("reused")]
        if times:
            return median(times)
    return None


def _item_seconds(versions: Sequence[Earlier], kind: str) -> float | None:
    """Return the longest median of a kind: in later versions what was kept took no time."""
    found = []
    for each in versions:
        times = [line.seconds for line in each.measured if line.item.startswith(f"{kind}:")]
        found += [median(times)] if times else []
    return max(found, default=None)
