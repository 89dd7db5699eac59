"""Submitting shots and looking at them."""

from collections.abc import Sequence
from typing import Annotated, Any

from fastapi import APIRouter, Path, Query, Response
from fastapi.responses import JSONResponse

from glimsum_services.api.admission import ASKER, keep_to_own
from glimsum_services.api.bodies import RequestKey, Sent, answer_once, body_schema
from glimsum_services.api.problem_details import Trouble, as_trouble, error_answers
from glimsum_services.api.service import Served, Service
from glimsum_services.api.views import ShotView, Shown, show_shot
from glimsum_services.job_file import Asked, read_text
from glimsum_services.job_text.syntax import syntax_error
from glimsum_services.submit import Submitted

router = APIRouter(tags=["shots"])

ShotName = Annotated[
    str, Path(pattern=r"^[a-z0-9][a-z0-9_-]{0,63}$", description="Name of the shot.")
]
Version = Annotated[int, Path(ge=1, le=9999, description="Number of the version.")]
After = Annotated[str | None, Query(max_length=200, description="`after` of the page before.")]
Limit = Annotated[int, Query(ge=1, le=200, description="At most this many.")]
Priority = Annotated[int, Query(ge=0, le=100, description="100 is the most urgent.")]


class TakenShot(Shown):
    """One job that was taken in."""

    shot: str
    version: int
    run: str
    new: bool
    """False: the same job was submitted before, and this is its version."""
    folder: str
    link: str


class Taken(Shown):
    """Everything that was taken in."""

    sequence: str | None
    shots: list[TakenShot]
    changes: list[str]
    """Of a changed job: what was changed, in words."""
    remarks: list[Trouble]


class ShotList(Shown):
    """A page of shots, newest first, each in its newest version."""

    shots: list[ShotView]
    after: str | None


def answer_taken(
    sequence: str | None, taken: list[Submitted], remarks: Any, changes: Sequence[str] = ()
) -> JSONResponse:
    """Return 201 if anything is new, else 200; a single shot is named in Location."""
    shots = [
        TakenShot(
            shot=each.order.shot,
            version=each.order.version,
            run=each.order.run,
            new=each.new,
            folder=each.order.folder,
            link=f"/shots/{each.order.shot}/versions/{each.order.version}",
        )
        for each in taken
    ]
    body = Taken(
        sequence=sequence,
        shots=shots,
        changes=list(changes),
        remarks=[as_trouble(each) for each in remarks],
    )
    location = f"/sequences/{sequence}" if sequence is not None else shots[0].link
    headers = {"Location": location} if sequence is not None or len(shots) == 1 else {}
    status = 201 if any(each.new for each in taken) else 200
    return JSONResponse(body.model_dump(), status, headers=headers)


def take_in(service: Service, asked: Asked, priority: int) -> JSONResponse:
    """Submit what is asked for and answer; only shots the token is for are taken."""
    names = [job.shot for job in asked.jobs]
    if asked.sequence is not None:  # it takes the place of one of the same name
        names += [run.partition("/")[0] for run in service.shots.sequence(asked.sequence) or ()]
    keep_to_own(ASKER.get(), names)
    taken = service.submissions.submit(asked, priority=priority)
    return answer_taken(asked.sequence, taken, asked.remarks)


_ONE_OR_MORE = {
    "oneOf": [
        {"$ref": "#/components/schemas/ShotJob"},
        {
            "type": "object",
            "additionalProperties": False,
            "required": ["jobs"],
            "properties": {
                "jobs": {
                    "type": "array",
                    "minItems": 1,
                    "maxItems": 500,
                    "items": {"$ref": "#/components/schemas/ShotJob"},
                }
            },
        },
    ]
}


@router.post(
    "/shots",
    operation_id="submit_shots",
    status_code=201,
    response_model=Taken,
    responses=error_answers(
        409, 415, also={200: {"model": Taken, "description": "All of them were submitted before"}}
    ),
    openapi_extra=body_schema("A job, or several as {jobs: [...]}.", _ONE_OR_MORE),
)
def submit_shots(
    service: Served, body: Sent, key: RequestKey = None, priority: Priority = 50
) -> JSONResponse:
    """Take in a shot job, or several; paths are `root:path`.

    Answers once the job holds, lies on disk and stands in the ledger; files are checked as the
    first stage.
    """

    def answer() -> JSONResponse:
        asked = read_text(body.data, body.kind)
        if asked.sequence is not None:
            raise syntax_error(
                "this is a sequence",
                None,
                seen=f"sequence: {asked.sequence}",
                expected="a shot job, or {jobs: [...]}",
                remedy="Send it to /sequences.",
            )
        return take_in(service, asked, priority)

    return answer_once(service, key, "POST /shots", body, answer)


@router.get("/shots", operation_id="list_shots", responses=error_answers())
def list_shots(
    service: Served, response: Response, after: After = None, limit: Limit = 50
) -> ShotList:
    """List shots, newest first, each in its newest version."""
    page = service.shots.list_shots(after, limit)
    if page.after is not None:
        response.headers["Link"] = f'</shots?limit={limit}&after={page.after}>; rel="next"'
    views = [show_shot(service, service.find(shot)) for shot in page.names]
    return ShotList(shots=views, after=page.after)


@router.get("/shots/{shot}", operation_id="get_shot", responses=error_answers(404))
def get_shot(service: Served, shot: ShotName) -> ShotView:
    """Show the newest version of a shot."""
    return show_shot(service, service.find(shot))
