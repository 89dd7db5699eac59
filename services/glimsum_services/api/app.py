"""The HTTP service: what it is made of, and what runs beside it while it is up."""

import os
import threading
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from secrets import token_hex
from typing import Any

from fastapi import FastAPI
from starlette.concurrency import run_in_threadpool

from glimsum_jobs.plan import next_stage
from glimsum_jobs.shot import ShotJob
from glimsum_services.api import (
    changed,
    control,
    events,
    health,
    pages,
    report,
    sequences,
    session,
    shots,
    versions,
    viewing,
    wedges,
)
from glimsum_services.api.admission import COOKIE, Admission, is_open, scope_of
from glimsum_services.api.guards import Guards, own_names
from glimsum_services.api.problem_details import ProblemDetail, answer_in_one_shape
from glimsum_services.api.request_log import RequestLog
from glimsum_services.api.service import Service, open_service
from glimsum_services.api.watch import Watch
from glimsum_services.celery_app import Tickets, make_app
from glimsum_services.dispatcher import Dispatcher
from glimsum_services.json_lines import set_up_log
from glimsum_services.settings import Settings, load_settings
from glimsum_services.tokens import Tokens

DESCRIPTION = """Combines lighting passes of miniature shots in scene-linear light.

Shot jobs are submitted, wait in a ledger, and are worked on frame by frame by the machines that
are there. All trouble is answered as problem details (RFC 9457): what was wrong, where, the value
seen, the value expected, and what to do.
"""


def create_app(settings: Settings | None = None, hosts: Sequence[str] = ()) -> FastAPI:
    """Return the service as an ASGI application.

    Parameters
    ----------
    settings : Settings, optional
        Default: from the environment and the settings file.
    hosts : sequence of str
        More names it may be asked under, besides those of this machine itself,
        ``settings.host`` and ``settings.names``.

    Returns
    -------
    FastAPI
        It joins the ledger when it is started, and hands out work while it is up.
    """
    chosen = settings or load_settings(os.environ)

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        if chosen.log == "json":
            set_up_log("json")
        service = await run_in_threadpool(open_service, chosen)
        watch = Watch(service)
        stop = threading.Event()
        app.state.service, app.state.watch = service, watch
        watch.start()
        thread = _dispatcher(service).start(stop)
        try:
            yield
        finally:
            stop.set()
            await run_in_threadpool(watch.stop)
            await run_in_threadpool(thread.join, 6)
            service.client.close()

    app = FastAPI(
        title="Glimsum",
        version="1",
        summary="Shot jobs, their standing, and their frames.",
        description=DESCRIPTION,
        lifespan=lifespan,
        docs_url=None,
        redoc_url=None,
    )
    for part in (
        shots,
        changed,
        versions,
        viewing,
        control,
        wedges,
        report,
        sequences,
        events,
        health,
        session,
        pages,
    ):
        app.include_router(part.router)
    answer_in_one_shape(app)
    app.state.tokens = Tokens(chosen.state_folder) if chosen.asks_for_tokens else None
    app.add_middleware(Admission, tokens=app.state.tokens)
    app.add_middleware(Guards, hosts={*own_names(chosen), *hosts})
    app.add_middleware(RequestLog)
    _declare(app)
    return app


def _dispatcher(service: Service) -> Dispatcher[Any]:
    tickets = Tickets(make_app(service.settings), service.client)
    return Dispatcher(
        f"api-{token_hex(4)}",
        ledger=service.ledger,
        orders=service.orders,
        plan=next_stage,
        tickets=tickets,
        machines=service.machines,
        tick_s=service.settings.tick_s,
    )


def _declare(app: FastAPI) -> None:
    """Add to the description of the API what routes only refer to."""
    made = app.openapi

    def described() -> dict[str, Any]:
        if app.openapi_schema is None:
            schemas = made().setdefault("components", {}).setdefault("schemas", {})
            template = "#/components/schemas/{model}"
            for model in (ProblemDetail, ShotJob):
                tree = model.model_json_schema(by_alias=True, ref_template=template)
                schemas.update(tree.pop("$defs", {}))
                schemas[model.__name__] = tree
            _declare_tokens(made(), asked_for=app.state.tokens is not None)
        return made()

    app.openapi = described  # type: ignore[method-assign]  # the way FastAPI documents it


def _declare_tokens(description: dict[str, Any], *, asked_for: bool) -> None:
    """Add to each operation that it takes a token, and what the token must be good for."""
    description["components"]["securitySchemes"] = {
        "bearer": {"type": "http", "scheme": "bearer", "description": "`glimsum token make`"},
        "cookie": {"type": "apiKey", "in": "cookie", "name": COOKIE, "description": "/session"},
    }
    for path, verbs in description["paths"].items():
        for verb, operation in verbs.items():
            if is_open(path):
                operation["security"] = []
                continue
            operation["security"] = [{"bearer": []}, {"cookie": []}] + ([] if asked_for else [{}])
            operation["x-scope"] = str(scope_of(verb.upper(), path))
