"""What the API shows of a wedge: one shape in answers, in the stream, and on the page."""

from glimsum_jobs.ledger import SINGLE_ITEM, ItemRecord, ItemState, RunRecord, RunState, Stage
from glimsum_jobs.measurements import Wedged
from glimsum_jobs.orders import WedgeOrder, run_name
from glimsum_jobs.problems import Place, Problem, Rank
from glimsum_jobs.varied import Varied
from glimsum_jobs.wedges import Wedge, describe_wedge
from glimsum_services.api.problem_details import Trouble, as_trouble, refusal
from glimsum_services.api.service import Service
from glimsum_services.api.views import Shown, utc_text


class WedgeView(Shown):
    """A wedge and where it stands."""

    id: str
    """``SHOT.wNNN``, as in its address."""
    run: str
    """``SHOT/wNNN``, as the ledger and the command line call it."""
    shot: str
    version: int
    """The version it is made of."""
    frames: list[int]
    varied: list[Varied]
    width: int
    """Largest width of a picture, pixels."""
    state: str
    """waiting, working, paused, done, done with remarks, cancelled, refused."""
    control: str
    revision: int
    reason: str
    """What it waits for, or why it was ended early."""
    wedge: Wedge | None
    """What each cell is, as it stands beside the sheet; None before that is made."""
    problems: list[Trouble]
    """What is worth knowing of check and measuring, or why there is no sheet."""
    seconds: float | None
    """How long making it took."""
    made: str
    begun: str
    ended: str | None
    folder: str
    """root:path."""
    links: dict[str, str]
    """sheet: once it is made."""


def wedge_id(order: WedgeOrder) -> str:
    """Return how a wedge is called in addresses."""
    return f"{order.shot}.w{order.wedge:03d}"


def show_wedge(service: Service, order: WedgeOrder) -> WedgeView:
    """Return the view of a wedge; reads the ledger."""
    record = service.standing(order)
    items = service.ledger.items(order.run, Stage.WEDGE)
    if not items:  # removed for a newer one since its order was read
        raise refusal(
            404,
            f"there is no wedge {order.run} any more",
            seen="removed for a newer one",
            expected="a wedge that is kept",
            remedy="GET /wedges?shot=SHOT lists them.",
        )
    [item] = items
    wedged = None if item.result is None else Wedged.model_validate(item.result)
    here = f"/wedges/{wedge_id(order)}"
    links = {"self": here, "control": f"{here}/control", "shot": f"/shots/{order.shot}"}
    is_made = wedged is not None and not wedged.refused
    if is_made:
        links |= {"sheet": f"{here}/sheet", "pick": f"{here}/pick"}
    return WedgeView(
        id=wedge_id(order),
        run=order.run,
        shot=order.shot,
        version=order.version,
        frames=list(order.frames),
        varied=list(order.varied),
        width=order.width,
        state=_state(record, item),
        control=record.control.value,
        revision=record.revision,
        reason=record.reason or record.waits_for,
        wedge=wedge_of(order) if is_made else None,
        problems=[as_trouble(each) for each in _problems(order, item, wedged)],
        seconds=None if wedged is None else wedged.seconds,
        made=order.made,
        begun=utc_text(record.begun),
        ended=None if record.ended is None else utc_text(record.ended),
        folder=order.folder,
        links=links,
    )


def wedge_of(order: WedgeOrder) -> Wedge:
    """Return what stands beside the sheet of a wedge, told from its order as the worker does."""
    run = run_name(order.shot, order.version)
    return describe_wedge(
        order.job, order.varied, order.frames, order.width, order.sheet, run, order.version
    )


def is_there(service: Service, order: WedgeOrder) -> bool:
    """Return whether the sheet of a wedge is made."""
    result = service.ledger.result(order.run, Stage.WEDGE, SINGLE_ITEM)
    return result is not None and not Wedged.model_validate(result).refused


def _state(record: RunRecord, item: ItemRecord) -> str:
    if record.state is not RunState.COMBINING:
        return record.state.value
    # Between the end of the work and the ledger's own end lies a tick of the dispatcher.
    return "waiting" if item.state is ItemState.WAITING else "working"


def _problems(order: WedgeOrder, item: ItemRecord, wedged: Wedged | None) -> list[Problem]:
    if wedged is not None:
        return list(wedged.problems)
    if item.failure is None:
        return []
    rank = Rank.STOPS_SHOT if item.state is ItemState.SET_ASIDE else Rank.REMARK
    files = item.failure.files
    return [
        Problem(
            rank=rank,
            what="the wedge failed" if rank is Rank.STOPS_SHOT else "a try failed",
            place=Place(shot=order.shot, file=files[0] if files else None),
            seen=item.failure.message,
            expected="a sheet",
            remedy="Put right what it names, then ask for the wedge again."
            if rank is Rank.STOPS_SHOT
            else "Nothing to do: it is tried again by itself.",
        )
    ]
