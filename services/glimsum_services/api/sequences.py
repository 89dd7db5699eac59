"""Submitting sequences and looking at them."""

from typing import Annotated

from fastapi import APIRouter, Path
from fastapi.responses import JSONResponse

from glimsum_services.api.bodies import RequestKey, Sent, answer_once, body_schema
from glimsum_services.api.problem_details import error_answers, refusal
from glimsum_services.api.service import Served
from glimsum_services.api.shots import After, Limit, Priority, Taken, take_in
from glimsum_services.api.views import ShotView, Shown, show_shot
from glimsum_services.job_file import read_text
from glimsum_services.job_text.syntax import syntax_error

router = APIRouter(tags=["sequences"])

SequenceName = Annotated[str, Path(min_length=1, max_length=200, description="Its name.")]


class SequenceView(Shown):
    """A sequence and where each of its shots stands."""

    sequence: str
    shots: list[ShotView]
    """At most 200; `after` is the number to go on from."""
    total: int
    ended: int
    """How many of the shots shown are at their end."""
    after: str | None


@router.post(
    "/sequences",
    operation_id="submit_sequence",
    status_code=201,
    response_model=Taken,
    responses=error_answers(
        409, 415, also={200: {"model": Taken, "description": "All of it was submitted before"}}
    ),
    openapi_extra=body_schema(
        "A sequence: its name, defaults, and shots that state what differs.",
        {
            "type": "object",
            "required": ["glimsum", "sequence", "shots"],
            "additionalProperties": False,
            "properties": {
                "glimsum": {"const": 1},
                "sequence": {"type": "string", "minLength": 1},
                "defaults": {"type": "object"},
                "shots": {
                    "type": "array",
                    "minItems": 1,
                    "maxItems": 500,
                    "items": {"type": "object"},
                },
            },
        },
    ),
)
def submit_sequence(
    service: Served, body: Sent, key: RequestKey = None, priority: Priority = 50
) -> JSONResponse:
    """Take in a sequence; all its shots, or none if one of them can't be used."""

    def answer() -> JSONResponse:
        asked = read_text(body.data, body.kind)
        if asked.sequence is None:
            raise syntax_error(
                "this is not a sequence",
                None,
                seen="no field called sequence",
                expected="{glimsum: 1, sequence: NAME, shots: [...]}",
                remedy="Send a single shot to /shots.",
            )
        return take_in(service, asked, priority)

    return answer_once(service, key, "POST /sequences", body, answer)


@router.get("/sequences/{sequence}", operation_id="get_sequence", responses=error_answers(404))
def get_sequence(
    service: Served, sequence: SequenceName, after: After = None, limit: Limit = 100
) -> SequenceView:
    """Show a sequence, its shots in their order."""
    runs = service.shots.sequence(sequence)
    if runs is None:
        raise refusal(
            404,
            f"there is no sequence {sequence}",
            seen=sequence,
            expected="a sequence that was submitted",
            remedy="Check its name, or submit it.",
        )
    start = int(after) if after is not None and after.isdecimal() else 0
    part = runs[start : start + limit]
    views = [show_shot(service, service.shots.order(run)) for run in part]
    more = start + limit < len(runs)
    return SequenceView(
        sequence=sequence,
        shots=views,
        total=len(runs),
        ended=sum(view.ended is not None for view in views),
        after=str(start + limit) if more else None,
    )
