"""Whether the service lives, whether work can go on, and its figures."""

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import PlainTextResponse

from glimsum_jobs.ledger import Counts, ItemState
from glimsum_jobs.orders import is_wedge
from glimsum_jobs.problems import Problem, Rank
from glimsum_jobs.reading import shot_schema
from glimsum_services.api.problem_details import Refusal, error_answers
from glimsum_services.api.service import Served, Service
from glimsum_services.api.views import Shown, utc_text
from glimsum_services.api.watch import Watch

router = APIRouter(tags=["service"])

SILENT_AFTER_S = 10.0
"""A machine not heard for so long is not counted."""
MOST_MACHINES = 500


class Alive(Shown):
    """The process answers."""

    alive: bool


class Ready(Shown):
    """Work can go on."""

    ready: bool
    machines: int
    slots: int


class Roots(Shown):
    """The folders jobs may name, as they are called on the service's machine."""

    roots: dict[str, str]


class MachineView(Shown):
    """A machine that works."""

    machine: str
    host: str
    slots: int
    queues: list[str]
    program: str
    heard: str


class MachineList(Shown):
    """The machines heard lately."""

    workers: list[MachineView]


@router.get("/healthz", operation_id="get_health", responses=error_answers())
async def get_health() -> Alive:
    """Say that the process lives; the ledger is not asked."""
    return Alive(alive=True)


@router.get("/readyz", operation_id="get_readiness", responses=error_answers())
def get_readiness(service: Served) -> Ready:
    """Say whether work can go on: ledger saving, roots there, machines at work."""
    problems = _server_problems(service) + _root_problems(service)
    machines = service.machines.heard_within(SILENT_AFTER_S)
    if not machines:
        problems.append(
            _problem(
                "no machine works",
                "none heard",
                "at least one",
                "Start `glimsum worker` somewhere.",
            )
        )
    if problems:
        raise Refusal(503, "work can't go on", problems, {"Retry-After": "5"})
    return Ready(ready=True, machines=len(machines), slots=sum(each.slots for each in machines))


@router.get("/roots", operation_id="list_roots", responses=error_answers())
def list_roots(service: Served) -> Roots:
    """List the roots, so that a program on this machine can write paths as `root:path`."""
    return Roots(roots={name: str(folder) for name, folder in service.settings.roots.items()})


@router.get("/workers", operation_id="list_workers", responses=error_answers())
def list_workers(service: Served) -> MachineList:
    """List the machines heard in the last ten seconds."""
    heard = service.machines.heard_within(SILENT_AFTER_S)
    return MachineList(
        workers=[
            MachineView(
                machine=each.machine,
                host=each.host,
                slots=each.slots,
                queues=list(each.queues),
                program=each.program,
                heard=utc_text(each.heard),
            )
            for each in heard[:MOST_MACHINES]
        ]
    )


@router.get(
    "/metrics",
    operation_id="get_metrics",
    response_class=PlainTextResponse,
    responses=error_answers(),
)
def get_metrics(request: Request, service: Served) -> PlainTextResponse:
    """Give figures as text (OpenMetrics' older text exposition, version 0.0.4)."""
    opened = service.ledger.open_runs()
    versions = [run for run in opened if not is_wedge(run)]
    runs = [each for each in map(service.ledger.record, versions) if each is not None]
    machines = service.machines.heard_within(SILENT_AFTER_S)
    watch: Watch = request.app.state.watch
    lines = [
        *_gauge("glimsum_open_runs", "Versions that are not at their end.", {"": len(runs)}),
        *_gauge(
            "glimsum_open_wedges",
            "Wedges that are not at their end.",
            {"": len(opened) - len(versions)},
        ),
        *_gauge(
            "glimsum_items",
            "Items of the stage each open version is at.",
            {
                f'{{state="{state.value}"}}': sum(
                    getattr(record.counts.get(record.stage, Counts()), state.name.lower())
                    for record in runs
                )
                for state in ItemState
            },
        ),
        *_gauge("glimsum_workers", "Machines heard lately.", {"": len(machines)}),
        *_gauge(
            "glimsum_slots", "Slots of these machines.", {"": sum(each.slots for each in machines)}
        ),
        *_gauge("glimsum_broker_up", "1 when the ledger answers.", {"": 1}),
        *_figures(
            "counter",
            "glimsum_events_total",
            "What happened since this process began.",
            {
                f'{{kind="{kind}",stage="{stage}"}}': count
                for (kind, stage), count in sorted(watch.heard.items())
            },
        ),
    ]
    return PlainTextResponse(
        "\n".join(lines) + "\n", media_type="text/plain; version=0.0.4; charset=utf-8"
    )


@router.get("/schema", operation_id="get_schema", responses=error_answers())
async def get_schema() -> dict[str, Any]:
    """Give the JSON Schema of a shot job."""
    return shot_schema()


def _gauge(name: str, words: str, values: dict[str, int]) -> list[str]:
    return _figures("gauge", name, words, values)


def _figures(kind: str, name: str, words: str, values: dict[str, int]) -> list[str]:
    head = [f"# HELP {name} {words}", f"# TYPE {name} {kind}"]
    return head + [f"{name}{labels} {value}" for labels, value in values.items()]


def _problem(what: str, seen: str, expected: str, remedy: str) -> Problem:
    return Problem(rank=Rank.STOPS_SHOT, what=what, seen=seen, expected=expected, remedy=remedy)


def _server_problems(service: Service) -> list[Problem]:
    facts: Any = service.client.info("persistence")
    if facts.get("aof_enabled") and facts.get("aof_last_write_status") != "ok":
        seen = str(facts.get("aof_last_write_status"))
        remedy = "Free space on the disk of the ledger."
        return [_problem("the ledger can't save", seen, "ok", remedy)]
    return []


def _root_problems(service: Service) -> list[Problem]:
    return [error.problem(Rank.STOPS_SHOT) for error in service.joining.root_troubles()]
