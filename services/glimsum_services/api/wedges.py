"""Wedges: asked for, looked at, and a cell of one taken."""

from typing import Annotated

from fastapi import APIRouter, Path, Query, Request
from fastapi.responses import JSONResponse, Response
from pydantic import Field

from glimsum_jobs.errors import JobError
from glimsum_jobs.frame_ranges import FrameNumber
from glimsum_jobs.job_changes import tell_changes
from glimsum_jobs.orders import WedgeOrder
from glimsum_jobs.paths import parse_root_path
from glimsum_jobs.problems import Place, Problem, Rank
from glimsum_jobs.step_changes import change_steps
from glimsum_jobs.varied import (
    LEAST_WIDTH_PX,
    MOST_PICTURES,
    MOST_VARIED,
    MOST_WIDTH_PX,
    Varied,
)
from glimsum_jobs.wedges import Cell
from glimsum_services.api.admission import ASKER, keep_to_own
from glimsum_services.api.bodies import Body, RequestKey, answer_once
from glimsum_services.api.control import ControlView, IfMatch, Wanted, set_control, show_control
from glimsum_services.api.problem_details import Refusal, error_answers, refusal
from glimsum_services.api.service import Served, Service
from glimsum_services.api.shots import Priority, Taken, answer_taken
from glimsum_services.api.viewing import binary, send_file
from glimsum_services.api.views import Shown
from glimsum_services.api.wedge_views import WedgeView, is_there, show_wedge, wedge_of
from glimsum_services.folders import open_file
from glimsum_services.job_file import Asked
from glimsum_services.submit import Wanted as HowMade
from glimsum_services.submit import change_job

router = APIRouter(prefix="/wedges", tags=["wedges"])

SHOT = r"[a-z0-9][a-z0-9_-]{0,63}"
WedgeId = Annotated[
    str, Path(pattern=rf"^{SHOT}\.w[0-9]{{3,6}}$", description="SHOT.wNNN: a wedge of a shot.")
]
OfShot = Annotated[str, Query(pattern=rf"^{SHOT}$", description="Name of the shot.")]
AfterWedge = Annotated[
    int | None, Query(ge=1, le=999_999, description="`after` of the page before.")
]
MostListed = Annotated[int, Query(ge=1, le=50, description="At most this many.")]


class AskedWedge(Shown):
    """A wedge somebody wants."""

    shot: Annotated[str, Field(pattern=rf"^{SHOT}$")]
    version: Annotated[int | None, Field(ge=1, le=9999, strict=True)] = None
    """The version whose job is varied; left out: the newest."""
    frames: Annotated[list[FrameNumber], Field(min_length=1, max_length=MOST_PICTURES)]
    varied: Annotated[list[Varied], Field(min_length=1, max_length=MOST_VARIED)]
    """The first along the rows, the second down the columns."""
    width: Annotated[int, Field(ge=LEAST_WIDTH_PX, le=MOST_WIDTH_PX, strict=True)] = 480
    """Largest width of a picture, pixels."""


class Picked(Shown):
    """The cell that is taken."""

    cell: Annotated[int, Field(ge=1, le=MOST_PICTURES * MOST_PICTURES, strict=True)]
    """Its number, as it stands under the picture."""


class WedgeList(Shown):
    """A page of wedges of a shot, newest first."""

    wedges: list[WedgeView]
    after: int | None


def find(service: Service, wedge: str) -> WedgeOrder:
    """Return the wedge an address names; raises Refusal 404 if there is none."""
    shot, _, number = wedge.rpartition(".w")
    return service.find_wedge(shot, int(number))


@router.post(
    "",
    operation_id="ask_for_wedge",
    status_code=201,
    response_model=WedgeView,
    responses=error_answers(404, 409),
)
def ask_for_wedge(service: Served, asked: AskedWedge, key: RequestKey = None) -> JSONResponse:
    """Try one or two values in grades on chosen frames, small, on one contact sheet.

    Answers once the wish lies on disk and stands in the ledger; a slot makes the sheet before its
    next frame. Of a shot 50 wedges are kept: the oldest that have ended go.
    """
    keep_to_own(ASKER.get(), [asked.shot])

    def answer() -> JSONResponse:
        made_of = service.find(asked.shot, asked.version)
        order = service.wedge_desk.ask(made_of, asked.varied, asked.frames, asked.width)
        view = show_wedge(service, order)
        headers = {"Location": view.links["self"]}
        return JSONResponse(view.model_dump(mode="json"), 201, headers=headers)

    return answer_once(service, key, "POST /wedges", _body(asked), answer)


@router.get("", operation_id="list_wedges", responses=error_answers(404))
def list_wedges(
    service: Served, shot: OfShot, after: AfterWedge = None, limit: MostListed = 20
) -> WedgeList:
    """List the wedges of a shot, newest first."""
    service.find(shot)
    numbers = service.wedges.numbers(shot)[::-1]
    rest = [number for number in numbers if after is None or number < after]
    shown = (_show_if_kept(service, shot, number) for number in rest[:limit])
    views = [each for each in shown if each is not None]
    return WedgeList(wedges=views, after=rest[limit - 1] if len(rest) > limit else None)


@router.get("/{wedge}", operation_id="get_wedge", responses=error_answers(404))
def get_wedge(service: Served, wedge: WedgeId) -> WedgeView:
    """Show where a wedge stands and, once it is made, what each cell is."""
    return show_wedge(service, find(service, wedge))


@router.get(
    "/{wedge}/sheet",
    operation_id="get_sheet",
    response_class=Response,
    responses=error_answers(404, 416, also=binary("image/jpeg")),
)
def get_sheet(request: Request, service: Served, wedge: WedgeId) -> Response:
    """Show the contact sheet of a finished wedge (JPEG)."""
    order = find(service, wedge)
    if not is_there(service, order):
        raise _no_sheet(service, order, 404)
    file = open_file(service.settings.roots, parse_root_path(order.folder), order.sheet)
    return send_file(request, file, "image/jpeg")


@router.get("/{wedge}/control", operation_id="get_wedge_control", responses=error_answers(404))
def get_wedge_control(service: Served, wedge: WedgeId, response: Response) -> ControlView:
    """Show what is wanted of a wedge; its ETag is needed to change it."""
    return show_control(service.standing(find(service, wedge)), response)


@router.put(
    "/{wedge}/control",
    operation_id="put_wedge_control",
    responses=error_answers(404, 409, 412, 422, 428),
)
def put_wedge_control(
    *,
    service: Served,
    wedge: WedgeId,
    wanted: Wanted,
    response: Response,
    if_match: IfMatch = None,
) -> ControlView:
    """Run, pause or cancel a wedge, as a version; it keeps no hours, others wait behind it."""
    order = find(service, wedge)
    hours = [each for each in (wanted.not_before, wanted.window) if each not in {None, "always"}]
    if hours:
        raise refusal(
            422,
            f"{order.run} is a wedge and keeps no hours",
            seen=str(hours[0]),
            expected="state or priority alone",
            remedy="Pause the wedge, and let it run when it is wanted.",
        )
    return set_control(service, order, wanted, response, if_match)


@router.post(
    "/{wedge}/pick",
    operation_id="pick_cell",
    status_code=201,
    response_model=Taken,
    responses=error_answers(
        404, 409, also={200: {"model": Taken, "description": "A version with this job is there"}}
    ),
)
def pick_cell(
    service: Served,
    wedge: WedgeId,
    picked: Picked,
    key: RequestKey = None,
    priority: Priority = 50,
) -> JSONResponse:
    """Make a cell the next version of the shot: the wedge's version with the cell's values."""
    order = find(service, wedge)
    keep_to_own(ASKER.get(), [order.shot])

    def answer() -> JSONResponse:
        if not is_there(service, order):
            raise _no_sheet(service, order, 409)
        made_of = service.find(order.shot, order.version)
        if made_of.job_digest != order.job_digest:
            raise refusal(
                409,
                f"the recipe of {made_of.run} is not the one this wedge was made of",
                seen=f"job {made_of.job_digest[:12]}",
                expected=f"job {order.job_digest[:12]}",
                remedy="Ask for the wedge again.",
            )
        cell = _cell(order, picked.cell)
        patch = {"recipe": change_steps(made_of.job, cell.changes)}
        job, remarks = change_job(made_of.job, patch)
        changes = tell_changes(made_of.job, job)
        asked = Asked(None, (job,), (job.model_dump_json(by_alias=True),), ())
        how = HowMade(earlier=made_of.version, changes=changes)
        taken = service.submissions.submit(asked, priority=priority, wanted=how)
        return answer_taken(None, taken, remarks, changes)

    return answer_once(service, key, f"POST /wedges/{wedge}/pick", _body(picked), answer)


def _show_if_kept(service: Service, shot: str, number: int) -> WedgeView | None:
    """Return the view of a wedge; None where it was removed for a newer one just now."""
    try:
        return show_wedge(service, service.find_wedge(shot, number))
    except Refusal as error:
        if error.status != 404:
            raise
        return None


def _body(asked: Shown) -> Body:
    return Body(asked.model_dump_json().encode(), "json")


def _cell(order: WedgeOrder, number: int) -> Cell:
    cells = wedge_of(order).cells
    found = next((each for each in cells if each.cell == number), None)
    if found is not None and not found.as_it_is:
        return found
    problem = Problem(
        rank=Rank.STOPS_SHOT,
        what="there is no such cell" if found is None else "this cell is the job as it is",
        place=Place(shot=order.shot, field="cell"),
        seen=f"cell {number}",
        expected=f"a cell from 1 to {len(cells)} that is not marked as it is",
        remedy="Look at the number under the picture.",
    )
    raise JobError(f"nothing is taken of {order.run}", [problem])


def _no_sheet(service: Service, order: WedgeOrder, status: int) -> Refusal:
    state = show_wedge(service, order).state
    return refusal(
        status,
        f"{order.run} has no sheet",
        seen=state,
        expected="a wedge that is made",
        remedy="Wait until it is done; if it was refused, its problems say why.",
    )
