"""Saying what is wanted of a version: run, pause, cancel, how urgent; and trying frames again."""

import time
from typing import Annotated, Literal

from fastapi import APIRouter, Header, Response
from pydantic import Field

from glimsum_jobs.errors import JobError
from glimsum_jobs.ledger import Control, RunRecord, Stage
from glimsum_jobs.orders import Order
from glimsum_services.api.problem_details import Refusal, error_answers, refusal
from glimsum_services.api.service import Served, Service
from glimsum_services.api.shots import ShotName, Version
from glimsum_services.api.views import Shown, utc_text
from glimsum_services.hours import hours_of

router = APIRouter(prefix="/shots/{shot}/versions/{version}", tags=["control"])

IfMatch = Annotated[
    str | None,
    Header(max_length=200, description="ETag of the control that is changed, or *."),
]


Clock = Annotated[str, Field(min_length=1, max_length=40)]


class Wanted(Shown):
    """What is wanted of a version; what is left out stays as it is."""

    state: Literal["run", "pause", "cancel"] | None = None
    priority: Annotated[int, Field(ge=0, le=100, strict=True)] | None = None
    """100 is the most urgent."""
    not_before: Clock | None = None
    """RFC 3339 time, ``HH:MM`` for the next such time in the service's time zone, or ``always``."""
    window: Clock | None = None
    """Hours of every day in the service's time zone, ``22:00-06:00``, or ``always``."""


class ControlView(Shown):
    """What is wanted of a version, and what it does."""

    state: str
    priority: int
    not_before: str | None
    """RFC 3339, UTC."""
    window: str | None
    """Hours of every day on the clock of `time_zone`."""
    time_zone: str
    standing: str
    waits_for: str | None
    """What keeps every machine from it now: storage, room on a disk, memory."""


class Retried(Shown):
    """How many frames wait again."""

    retried: int


def _etag(record: RunRecord) -> str:
    hours = record.hours
    when = f"{hours.not_before or 0:.0f}-{hours.wall.replace(':', '')}"
    return f'"{record.control.value}-{record.priority}-{when}"'


def show_control(record: RunRecord, response: Response) -> ControlView:
    """Return what is wanted of a run, its ETag in the headers."""
    response.headers["ETag"] = _etag(record)
    hours = record.hours
    return ControlView(
        state=record.control.value,
        priority=record.priority,
        not_before=None if hours.not_before is None else utc_text(hours.not_before),
        window=hours.wall or None,
        time_zone=hours.zone,
        standing=record.state.value,
        waits_for=record.waits_for or None,
    )


def _ended(run: str, record: RunRecord) -> Refusal:
    return refusal(
        409,
        f"{run} has ended",
        seen=record.state.value,
        expected="one that is still at work",
        remedy="Submit the job again (a changed one, if this was done): it becomes the next "
        "version. Ask for another wedge.",
    )


@router.get("/control", operation_id="get_control", responses=error_answers(404))
def get_control(
    service: Served, shot: ShotName, version: Version, response: Response
) -> ControlView:
    """Show what is wanted of a version; its ETag is needed to change it."""
    return show_control(service.standing(service.find(shot, version)), response)


@router.put("/control", operation_id="put_control", responses=error_answers(404, 409, 412, 428))
def put_control(
    *,
    service: Served,
    shot: ShotName,
    version: Version,
    wanted: Wanted,
    response: Response,
    if_match: IfMatch = None,
) -> ControlView:
    """Run, pause or cancel a version, say how urgent it is and when it may be worked on.

    Frames in work are finished before a pause. Cancelling can't be undone: workers leave at the
    next step of a frame, and are ended if they do not.
    """
    return set_control(service, service.find(shot, version), wanted, response, if_match)


def set_control(
    service: Service, order: Order, wanted: Wanted, response: Response, if_match: str | None
) -> ControlView:
    """Say what is wanted of a run and return what is wanted now.

    Raises
    ------
    Refusal
        428, 412: it is not said what is changed, or it was changed in between; 409: it has ended.
    """
    with service.ledger.one_at_a_time:
        return _set_control(service, order, wanted, response, if_match)


def _set_control(
    service: Service, order: Order, wanted: Wanted, response: Response, if_match: str | None
) -> ControlView:
    record = service.standing(order)
    if if_match is None:
        raise refusal(
            428,
            "what is changed is not named",
            seen="no If-Match",
            expected=f"If-Match: {_etag(record)}",
            remedy="GET the control first and send its ETag as If-Match.",
        )
    if if_match.strip() != "*" and _etag(record) not in [
        each.strip() for each in if_match.split(",")
    ]:
        raise refusal(
            412,
            "somebody changed it in between",
            seen=if_match,
            expected=_etag(record),
            remedy="Look at the control again, then decide again.",
        )
    state = None if wanted.state is None else Control(wanted.state)
    hours = None
    if wanted.window is not None or wanted.not_before is not None:
        zone, now = service.settings.time_zone, time.time()
        try:
            hours = hours_of(wanted.window, wanted.not_before, zone, now, record.hours)
        except JobError as error:
            raise Refusal(422, str(error.what), error.problems) from error
    if not service.ledger.control(order.run, state, wanted.priority, hours):
        raise _ended(order.run, service.standing(order))
    return show_control(service.standing(order), response)


@router.post("/retry", operation_id="retry_frames", responses=error_answers(404, 409))
def retry_frames(service: Served, shot: ShotName, version: Version) -> Retried:
    """Let the frames that were set aside wait again, for example after a file was put right."""
    order = service.find(shot, version)
    record = service.standing(order)
    counts = record.counts.get(Stage.COMBINE)
    if counts is None or record.state.value in ("cancelled", "refused"):
        raise refusal(
            409,
            f"{order.run} has no frames that could be tried again",
            seen=record.state.value,
            expected="a version that came to combining",
            remedy="Put right what was wrong, then submit the job again.",
        )
    return Retried(retried=service.ledger.retry(order.run, Stage.COMBINE))
