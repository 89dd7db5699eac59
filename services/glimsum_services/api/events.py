"""The streams of what happens (server-sent events)."""

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Header, Request
from fastapi.responses import StreamingResponse

from glimsum_services.api.problem_details import error_answers, refusal
from glimsum_services.api.service import Served
from glimsum_services.api.shots import ShotName
from glimsum_services.api.watch import MOST_WATCHERS, Watch

router = APIRouter(tags=["events"])

LastEventId = Annotated[
    str | None,
    Header(
        alias="Last-Event-ID",
        max_length=100,
        description="Id of the last event seen; the stream goes on behind it.",
    ),
]

_STREAM: dict[int, dict[str, Any]] = {
    200: {
        "description": "Events: `shot` (a version as /shots shows it), `wedge` (as /wedges "
        "shows it), `snapshot` (ask for "
        "everything once), `silence` (the ledger gives no answer)",
        "content": {"text/event-stream": {"schema": {"type": "string"}}},
    }
}


def _watch(request: Request) -> Watch:
    watch: Watch = request.app.state.watch
    if watch.full:
        raise refusal(
            503,
            "too many watch already",
            seen=str(MOST_WATCHERS),
            expected=f"fewer than {MOST_WATCHERS} open streams",
            remedy="Close pages that nobody looks at.",
            Retry_After="30",
        )
    return watch


First = tuple[list[bytes], str]
"""What is told first, and up to where."""

Watched = Annotated[Watch, Depends(_watch)]


def _first_of_all(watch: Watched, last: LastEventId = None) -> First:
    return watch.since(last, None)


def _first_of_shot(
    watch: Watched, service: Served, shot: ShotName, last: LastEventId = None
) -> First:
    service.find(shot)
    return watch.since(last, shot)


def _answer(watch: Watch, shot: str | None, first: First) -> StreamingResponse:
    headers = {"Cache-Control": "no-cache", "X-Accel-Buffering": "no"}
    return StreamingResponse(
        watch.stream(shot, *first), media_type="text/event-stream", headers=headers
    )


@router.get(
    "/events",
    operation_id="watch_all",
    response_class=StreamingResponse,
    responses=error_answers(also=_STREAM),
)
async def watch_all(
    watch: Watched, first: Annotated[First, Depends(_first_of_all)]
) -> StreamingResponse:
    """Follow all shots, at most four messages a second for each."""
    return _answer(watch, None, first)


@router.get(
    "/shots/{shot}/events",
    operation_id="watch_shot",
    response_class=StreamingResponse,
    responses=error_answers(404, also=_STREAM),
)
async def watch_shot(
    watch: Watched, shot: ShotName, first: Annotated[First, Depends(_first_of_shot)]
) -> StreamingResponse:
    """Follow one shot."""
    return _answer(watch, shot, first)
