"""One version of a shot: where it stands, its frames, what was measured, its job."""

from typing import Annotated

from fastapi import APIRouter, Query
from fastapi.responses import Response

from glimsum_jobs.ledger import Stage
from glimsum_services.api.measurements import Measurements, show_measurements
from glimsum_services.api.problem_details import error_answers
from glimsum_services.api.service import Served
from glimsum_services.api.shots import Limit, ShotName, Version
from glimsum_services.api.views import FrameView, ShotView, Shown, show_frame, show_shot

router = APIRouter(prefix="/shots/{shot}/versions/{version}", tags=["versions"])

AfterFrame = Annotated[
    int | None, Query(ge=-1, le=9_999_999, description="List frames behind this one.")
]


AsRead = Annotated[bool, Query(description="As it was read, in JSON.")]


class FrameList(Shown):
    """A page of frames, in order."""

    frames: list[FrameView]
    after: int | None


@router.get("", operation_id="get_version", responses=error_answers(404))
def get_version(service: Served, shot: ShotName, version: Version) -> ShotView:
    """Show one version."""
    return show_shot(service, service.find(shot, version))


@router.get("/frames", operation_id="list_frames", responses=error_answers(404))
def list_frames(
    service: Served,
    shot: ShotName,
    version: Version,
    after: AfterFrame = None,
    limit: Limit = 100,
) -> FrameList:
    """List the frames of a version; empty before combining begins."""
    order = service.find(shot, version)
    items = service.ledger.items(order.run, Stage.COMBINE)
    rest = [item for item in items if after is None or int(item.item) > after]
    frames = [show_frame(item) for item in rest[:limit]]
    return FrameList(frames=frames, after=frames[-1].frame if len(rest) > limit else None)


@router.get("/measurements", operation_id="get_measurements", responses=error_answers(404))
def get_measurements(
    service: Served,
    shot: ShotName,
    version: Version,
    after: AfterFrame = None,
    limit: Limit = 100,
) -> Measurements:
    """Show what was measured, as `glimsum measure` writes it; no pass before solving is done."""
    return show_measurements(service.ledger, service.find(shot, version), after, limit)


@router.get(
    "/job",
    operation_id="get_job",
    response_class=Response,
    responses=error_answers(
        404, also={200: {"content": {"text/plain": {"schema": {"type": "string"}}}}}
    ),
)
def get_job(service: Served, shot: ShotName, version: Version, as_read: AsRead = False) -> Response:
    """Show the job as it was written, or as it was read: JSON, every path ``root:path``."""
    order = service.find(shot, version)
    text = None if as_read else service.shots.job_text(order.job_digest)
    if text is None:
        text = order.job.model_dump_json(by_alias=True, indent=1)
    return Response(text, media_type="text/plain; charset=utf-8")
