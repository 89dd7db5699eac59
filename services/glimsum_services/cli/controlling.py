"""`glimsum pause`, `resume` and `cancel`: what is wanted of runs that are under way."""

from typing import Annotated

import typer

from glimsum_jobs.ledger import Control
from glimsum_services.cli.options import DEFAULT_SERVICE, AsJson, Service
from glimsum_services.cli.reaching import reach
from glimsum_services.cli.telling import say, say_json

Runs = Annotated[
    list[str],
    typer.Argument(metavar="RUN", help="SHOT or SHOT/vNNN; a shot alone is its newest version."),
]


def pause(runs: Runs, *, service: Service = DEFAULT_SERVICE, as_json: AsJson = False) -> None:
    """Let runs rest: frames in work are finished, no new one is begun."""
    _ask(runs, Control.PAUSE, service, as_json=as_json)


def resume(runs: Runs, *, service: Service = DEFAULT_SERVICE, as_json: AsJson = False) -> None:
    """Let paused runs go on."""
    _ask(runs, Control.RUN, service, as_json=as_json)


def cancel(runs: Runs, *, service: Service = DEFAULT_SERVICE, as_json: AsJson = False) -> None:
    """End runs for good; masters that are done stay."""
    _ask(runs, Control.CANCEL, service, as_json=as_json)


def _ask(runs: list[str], wanted: Control, service: str, *, as_json: bool) -> None:
    with reach(service) as client:
        views = [client.control(client.full_name(run), wanted) for run in runs]
    if as_json:
        say_json({"runs": [view.as_json() for view in views]})
        return
    for view in views:
        say(f"{view.run}  {view.state}  {view.words()}".rstrip())
