"""Saying what is wanted of a version: run, pause, cancel, how urgent; and trying frames again."""

from typing import Annotated, Literal

from fastapi import APIRouter, Header, Response
from pydantic import Field

from glimsum_jobs.ledger import Control, RunRecord, Stage
from glimsum_services.api.problem_details import Refusal, error_answers, refusal
from glimsum_services.api.service import Served
from glimsum_services.api.shots import ShotName, Version
from glimsum_services.api.views import Shown

router = APIRouter(prefix="/shots/{shot}/versions/{version}", tags=["control"])

IfMatch = Annotated[
    str | None,
    Header(max_length=200, description="ETag of the control that is changed, or *."),
]


class Wanted(Shown):
    """What is wanted of a version."""

    state: Literal["run", "pause", "cancel"]
    priority: Annotated[int, Field(ge=0, le=100, strict=True)] | None = None
    """100 is the most urgent; left out: as it is."""


class ControlView(Shown):
    """What is wanted of a version, and what it does."""

    state: str
    priority: int
    standing: str


class Retried(Shown):
    """How many frames wait again."""

    retried: int


def _etag(record: RunRecord) -> str:
    return f'"{record.control.value}-{record.priority}"'


def _show(record: RunRecord, response: Response) -> ControlView:
    response.headers["ETag"] = _etag(record)
    return ControlView(
        state=record.control.value, priority=record.priority, standing=record.state.value
    )


def _ended(run: str, record: RunRecord) -> Refusal:
    return refusal(
        409,
        f"{run} has ended",
        seen=record.state.value,
        expected="a version that is still at work",
        remedy="Submit a changed job: it becomes the next version.",
    )


@router.get("/control", operation_id="get_control", responses=error_answers(404))
def get_control(
    service: Served, shot: ShotName, version: Version, response: Response
) -> ControlView:
    """Show what is wanted of a version; its ETag is needed to change it."""
    return _show(service.standing(service.find(shot, version)), response)


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
    """Run, pause or cancel a version; frames in work are finished before a pause.

    Cancelling can't be undone. Workers hear it at their next sign of life.
    """
    order = service.find(shot, version)
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
    if not service.ledger.control(order.run, Control(wanted.state), wanted.priority):
        raise _ended(order.run, service.standing(order))
    return _show(service.standing(order), response)


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
            remedy="Submit a changed job if the check refused it.",
        )
    return Retried(retried=service.ledger.retry(order.run, Stage.COMBINE))
