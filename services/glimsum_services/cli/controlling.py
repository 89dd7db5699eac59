"""`glimsum pause`, `resume`, `cancel` and `retry`: what is wanted of runs that are under way."""

from typing import Annotated

import typer

from glimsum_jobs.ledger import Control
from glimsum_jobs.orders import is_wedge
from glimsum_jobs.problems import Place
from glimsum_services.cli.options import (
    DEFAULT_SERVICE,
    AsJson,
    NotBefore,
    Service,
    Window,
    WrongUse,
)
from glimsum_services.cli.reaching import reach
from glimsum_services.cli.telling import say, say_json

Runs = Annotated[
    list[str],
    typer.Argument(
        metavar="RUN",
        help="SHOT, SHOT/vNNN, or a wedge SHOT/wNNN; a shot alone is its newest version.",
    ),
]


Priority = Annotated[
    int | None,
    typer.Option("--priority", min=0, max=100, help="How urgent; 100 goes first, 50 is usual."),
]


def pause(runs: Runs, *, service: Service = DEFAULT_SERVICE, as_json: AsJson = False) -> None:
    """Let runs rest: frames in work are finished, no new one is begun."""
    _ask(runs, Control.PAUSE, service, as_json=as_json)


def resume(
    runs: Runs,
    *,
    priority: Priority = None,
    not_before: NotBefore = None,
    window: Window = None,
    service: Service = DEFAULT_SERVICE,
    as_json: AsJson = False,
) -> None:
    """Let runs go on, and say how urgent they are and when they may be worked on."""
    wishes = {"priority": priority, "not_before": not_before, "window": window}
    _ask(runs, Control.RUN, service, as_json=as_json, **wishes)


def cancel(runs: Runs, *, service: Service = DEFAULT_SERVICE, as_json: AsJson = False) -> None:
    """End runs for good; masters that are done stay."""
    _ask(runs, Control.CANCEL, service, as_json=as_json)


def retry(runs: Runs, *, service: Service = DEFAULT_SERVICE, as_json: AsJson = False) -> None:
    """Try the frames that were set aside again, for example after a file was put right."""
    with reach(service) as client:
        names = [client.full_name(run) for run in runs]
        for name in filter(is_wedge, names):
            raise WrongUse(
                "a wedge is not tried again",
                place=Place(field="RUN"),
                seen=name,
                expected="a version, whose frames that were set aside are tried again",
                remedy="Ask for the wedge again with `glimsum wedge SHOT FRAME... --vary ...`.",
            )
        retried = {name: client.retry(name) for name in names}
        views = [client.view(name) for name in names]
    if as_json:
        say_json({"runs": [view.as_json() | {"retried": retried[view.run]} for view in views]})
        return
    for view in views:
        say(f"{view.run}  {view.state}  {retried[view.run]} frames wait again")


def _ask(
    runs: list[str], wanted: Control, service: str, *, as_json: bool, **wishes: object
) -> None:
    with reach(service) as client:
        views = [client.control(client.full_name(run), wanted, **wishes) for run in runs]
    if as_json:
        say_json({"runs": [view.as_json() for view in views]})
        return
    for view in views:
        say(f"{view.run}  {view.state}  {view.words()}".rstrip())
