"""What the API shows of shots: one shape in answers, in the stream, and on the page."""

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

from pydantic import BaseModel, ConfigDict

from glimsum_jobs.ledger import Counts, ItemRecord, RunRecord, Stage
from glimsum_jobs.orders import RunOrder
from glimsum_jobs.problems import Problem, Rank
from glimsum_services.api.problem_details import Trouble, as_trouble
from glimsum_services.api.service import Service
from glimsum_services.progress import Progress, ShownResults, progress_of, read_shown

MOST_LISTED = 200
"""Most frames named in one view of a shot; the rest is counted and listed by /frames."""


class Shown(BaseModel):
    """Base of what is shown."""

    model_config = ConfigDict(extra="forbid")


class Count(Shown):
    """How many items of a stage are in each state."""

    waiting: int
    working: int
    done: int
    set_aside: int


class AsideFrame(Shown):
    """A frame that was set aside."""

    frame: int
    reason: str


class FrameSpan(Shown):
    """Frames that are made, handles included; the cut lies inside."""

    first: int
    last: int
    cut_first: int
    cut_last: int


class AskedFrames(Shown):
    """The frames a version makes: all of the shot, or those it was asked for."""

    first: int
    last: int


class ShotView(Shown):
    """One version of a shot and where it stands."""

    shot: str
    version: int
    versions: list[int]
    sequence: str | None
    state: str
    """checking, measuring, combining, finishing, done, done with remarks, paused, cancelled,
    refused."""
    stage: str
    control: str
    priority: int
    revision: int
    frames: FrameSpan
    asked: AskedFrames
    earlier: int | None
    """The version whose job was changed to make this one."""
    changes: list[str]
    """What was changed, in words."""
    reused: int | None
    """Frames that were taken over from earlier versions; None before the finish."""
    counts: dict[str, Count]
    progress: Progress
    set_aside: list[AsideFrame]
    newest_preview: int | None
    """Number of the last finished frame that has a preview."""
    problems: list[Trouble]
    """What is worth knowing: what the check found, at the end all remarks, stages that failed."""
    reason: str
    """Why the run was ended early."""
    made: str
    begun: str
    ended: str | None
    folder: str
    """Version folder, root:path."""
    movie: str | None
    """Viewing movie, root:path, once it is written."""
    wedges: int
    """How many wedges of the shot, of all its versions, are kept."""
    links: dict[str, str]


class FrameView(Shown):
    """One frame."""

    frame: int
    state: str
    tries: int
    worker: str | None
    reason: str | None
    result: dict[str, Any] | None


def show_shot(service: Service, order: RunOrder) -> ShotView:
    """Return the view of one version; reads the ledger."""
    record = service.standing(order)
    frames = order.job.frames
    found = read_shown(service.ledger, record, order.asked)
    finished = found.finished
    combined = [each for each in found.recent if not each.get("reused")] or found.recent
    times = [float(str(each["seconds"])) for each in combined if "seconds" in each]
    here = f"/shots/{order.shot}/versions/{order.version}"
    return ShotView(
        shot=order.shot,
        version=order.version,
        versions=service.shots.versions(order.shot),
        sequence=order.sequence,
        state=record.state.value,
        stage=record.stage.value,
        control=record.control.value,
        priority=record.priority,
        revision=record.revision,
        frames=FrameSpan(
            first=frames.first,
            last=frames.last,
            cut_first=frames.first + order.job.handles.head,
            cut_last=frames.last - order.job.handles.tail,
        ),
        asked=AskedFrames(first=order.asked.first, last=order.asked.last),
        earlier=order.earlier,
        changes=list(order.changes),
        reused=finished.get("reused", 0) if finished else None,
        counts={
            stage.value: Count.model_validate(each.model_dump())
            for stage, each in record.counts.items()
        },
        progress=progress_of(record, order.asked.count, times),
        set_aside=[_aside(item) for item in service.aside.of(record)[:MOST_LISTED]],
        newest_preview=_newest(found.recent),
        problems=_problems(service, order, record, found),
        reason=record.reason or record.waits_for,
        made=order.made,
        begun=utc_text(record.begun),
        ended=None if record.ended is None else utc_text(record.ended),
        folder=order.folder,
        movie=_movie(order, finished),
        wedges=service.wedges.count(order.shot),
        links={
            "self": here,
            "frames": f"{here}/frames",
            "measurements": f"{here}/measurements",
            "control": f"{here}/control",
            "job": f"{here}/job",
            "movie": f"{here}/movie",
        },
    )


def show_frame(item: ItemRecord) -> FrameView:
    """Return the view of one frame."""
    return FrameView(
        frame=int(item.item),
        state=item.state.value,
        tries=item.tries,
        worker=item.worker,
        reason=item.failure.message if item.failure else None,
        result=item.result,
    )


def utc_text(seconds: float) -> str:
    """Return a time as RFC 3339, UTC."""
    text = datetime.fromtimestamp(seconds, UTC).isoformat(timespec="milliseconds")
    return text.replace("+00:00", "Z")


def _aside(item: ItemRecord) -> AsideFrame:
    reason = item.failure.message if item.failure else "no reason was kept"
    return AsideFrame(frame=int(item.item), reason=reason)


def _newest(recent: Sequence[Mapping[str, Any]]) -> int | None:
    frames = [int(str(each["frame"])) for each in recent if each.get("preview")]
    return max(frames, default=None)


def _problems(
    service: Service, order: RunOrder, record: RunRecord, found: ShownResults
) -> list[Trouble]:
    problems = [Problem.model_validate(each) for each in found.problems[:MOST_LISTED]]
    if record.ended is None:
        problems += [_left(*each) for each in sorted(service.joined.declined(order.run).items())]
    for stage in (Stage.CHECK, Stage.SOLVE, Stage.FINISH):
        if record.counts.get(stage, Counts()).set_aside:
            problems += [_failed(stage, item) for item in service.ledger.items(order.run, stage)]
    return [as_trouble(problem) for problem in problems]


def _left(machine: str, reason: str) -> Problem:
    return Problem(
        rank=Rank.REMARK,
        what=f"machine {machine} leaves this shot to others",
        seen=reason,
        expected="a machine with the same program and all roots of the shot",
        remedy="Others go on with it; put right what it names if this machine should help.",
    )


def _failed(stage: Stage, item: ItemRecord) -> Problem:
    message = item.failure.message if item.failure else "no reason was kept"
    return Problem(
        rank=Rank.STOPS_SHOT,
        what=f"the stage {stage.value} failed",
        seen=message,
        expected="a finished stage",
        remedy="Put right what it names, then submit the job again.",
    )


def _movie(order: RunOrder, finished: Mapping[str, Any] | None) -> str | None:
    """Return the movie as the finish names it, below the version folder."""
    movie = (finished or {}).get("movie")
    return f"{order.folder}/{movie}" if isinstance(movie, str) and movie else None
