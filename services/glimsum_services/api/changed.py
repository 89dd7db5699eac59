"""The next version of a shot: changes to the job of an earlier one, and how it is to be made."""

from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query
from fastapi.responses import JSONResponse

from glimsum_jobs.errors import GlimsumError, JobError
from glimsum_jobs.frame_ranges import FrameRange
from glimsum_jobs.job_changes import tell_changes
from glimsum_jobs.orders import RunOrder
from glimsum_jobs.problems import Place, Problem
from glimsum_jobs.shot import ShotJob
from glimsum_services.api.admission import ASKER, keep_to_own
from glimsum_services.api.bodies import Body, RequestKey, Sent, answer_once, body_schema
from glimsum_services.api.problem_details import error_answers
from glimsum_services.api.service import Served, Service
from glimsum_services.api.shots import Priority, ShotName, Taken, answer_taken
from glimsum_services.job_file import Asked, parse_text
from glimsum_services.job_text.syntax import syntax_error
from glimsum_services.replan import Replan, plan_rerun
from glimsum_services.report.night import SILENT_AFTER_S
from glimsum_services.submit import Wanted, change_job

router = APIRouter(prefix="/shots/{shot}", tags=["shots"])

Earlier = Annotated[
    int | None,
    Query(ge=1, le=9999, description="The version whose job is changed; default: the newest."),
]
First = Annotated[
    int | None, Query(ge=0, le=9_999_999, description="First frame to make; default: all.")
]
Last = Annotated[
    int | None, Query(ge=0, le=9_999_999, description="Last frame to make; default: all.")
]
Reuse = Annotated[bool, Query(description="Take over frames that an earlier version has finished.")]
Again = Annotated[bool, Query(description="A new version even if one with this job is there.")]

CHANGES = body_schema(
    "Changes of the earlier version's job, as a JSON Merge Patch (RFC 7396).", {"type": "object"}
)


@dataclass(frozen=True)
class Frames:
    """Which frames a version is to make."""

    first: int | None
    last: int | None


def _frames(first: First = None, last: Last = None) -> Frames:
    return Frames(first, last)


AskedFor = Annotated[Frames, Depends(_frames)]


@dataclass(frozen=True)
class Changed:
    """A job made from that of an earlier version."""

    order: RunOrder
    job: ShotJob
    only: FrameRange | None
    changes: tuple[str, ...]
    remarks: tuple[Problem, ...]


def read_changes(body: Body) -> dict[str, Any]:
    """Return the changes a body states; raises JobError if it is no object."""
    tree, positions, _ = parse_text(body.data, body.kind)
    if not isinstance(tree, dict):
        raise syntax_error(
            "the changes are not an object",
            positions.get(()),
            seen=type(tree).__name__,
            expected="fields of the job with their new values",
            remedy="Send for example {recipe: [...]}.",
        )
    return tree


def make_changes(
    service: Service, shot: str, body: Body, earlier: int | None, frames: Frames
) -> Changed:
    """Return the changed job; raises JobError with everything that is wrong with it."""
    order = service.find(shot, earlier)
    try:
        job, remarks = change_job(order.job, read_changes(body))
        only = _only(job, frames)
    except JobError as error:
        problems: list[Problem] = error.problems
        raise JobError(f"{order.run} can't be changed so", problems) from error
    return Changed(order, job, only, tell_changes(order.job, job), tuple(remarks))


def _only(job: ShotJob, frames: Frames) -> FrameRange | None:
    first = job.frames.first if frames.first is None else frames.first
    last = job.frames.last if frames.last is None else frames.last
    if (first, last) == (job.frames.first, job.frames.last):
        return None
    if not job.frames.first <= first <= last <= job.frames.last:
        error = GlimsumError(
            "the shot has no such frames",
            place=Place(shot=job.shot, field="frames"),
            seen=f"{first} to {last}",
            expected=f"a part of {job.frames.first} to {job.frames.last}, the first one first",
            remedy="Name frames of the shot, or none for all.",
        )
        raise JobError("there is nothing to make", [error.problem()])
    return FrameRange(first=first, last=last)


@router.post(
    "/versions",
    operation_id="change_shot",
    status_code=201,
    response_model=Taken,
    responses=error_answers(
        404,
        409,
        415,
        also={200: {"model": Taken, "description": "A version with this job is there"}},
    ),
    openapi_extra=CHANGES,
)
def change_shot(  # noqa: PLR0917  # a route states its query by name
    service: Served,
    shot: ShotName,
    body: Sent,
    frames: AskedFor,
    key: RequestKey = None,
    priority: Priority = 50,
    earlier: Earlier = None,
    reuse: Reuse = True,
    again: Again = False,
) -> JSONResponse:
    """Make the next version of a shot from an earlier version's job and the changes to it.

    Frames that are the same in an earlier version are taken over, and nothing is measured that
    was measured before.
    """

    def answer() -> JSONResponse:
        found = make_changes(service, shot, body, earlier, frames)
        keep_to_own(ASKER.get(), [found.job.shot])
        asked = Asked(None, (found.job,), (found.job.model_dump_json(by_alias=True),), ())
        wanted = Wanted(
            earlier=found.order.version,
            changes=found.changes,
            reuse=reuse,
            only=found.only,
            again=again,
        )
        taken = service.submissions.submit(asked, priority=priority, wanted=wanted)
        return answer_taken(None, taken, found.remarks, found.changes)

    told = f"{earlier} {frames.first} {frames.last} {reuse} {again}"
    return answer_once(service, key, f"POST /shots/{shot}/versions {told}", body, answer)


@router.post(
    "/plan",
    operation_id="plan_change",
    response_model=Replan,
    responses=error_answers(404, 415),
    openapi_extra=CHANGES,
)
def plan_change(  # noqa: PLR0917  # a route states its query by name
    service: Served,
    shot: ShotName,
    body: Sent,
    frames: AskedFor,
    earlier: Earlier = None,
    reuse: Reuse = True,
) -> Replan:
    """Tell what the next version would cost, without making it.

    Frames to combine and to take over, what would be measured anew, seconds and bytes.
    """
    found = make_changes(service, shot, body, earlier, frames)
    orders = [service.find(shot, number) for number in reversed(service.shots.versions(shot))]
    machines = service.machines.heard_within(SILENT_AFTER_S)
    return plan_rerun(
        found.order,
        found.job,
        found.only,
        found.changes,
        orders,
        service.settings.roots,
        reuse=reuse,
        slots=sum(each.slots for each in machines),
    )
