"""`glimsum up` and `glimsum worker`: the service on this machine, or a worker for another's."""

import os
import signal
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, NoReturn

import typer

from glimsum_jobs.errors import JobError, StoreError
from glimsum_jobs.problems import Place
from glimsum_services.cli.options import (
    AsJson,
    RootPairs,
    WrongUse,
    read_roots,
    wrong_settings,
)
from glimsum_services.cli.reaching import submit_line
from glimsum_services.cli.telling import say, say_json

if TYPE_CHECKING:
    from glimsum_services.embedded import EmbeddedService
    from glimsum_services.settings import Settings

Slots = Annotated[
    int | None, typer.Option("--slots", min=1, help="Frames at once; default: one a processor.")
]
StateFolder = Annotated[
    Path | None,
    typer.Option("--state", help="Folder of ledger and logs; default: GLIMSUM_STATE_FOLDER."),
]


def read_settings(**given: Any) -> "Settings":
    """Return the settings of this machine; what is given on the command line comes first.

    Raises
    ------
    WrongUse
        A setting has a value it can't have.
    """
    from glimsum_services.settings import load_settings  # noqa: PLC0415  # keeps `schema` light

    try:
        return load_settings(os.environ, **given)
    except JobError as error:
        raise wrong_settings(error) from error


@contextmanager
def running_service(settings: "Settings") -> Iterator["EmbeddedService"]:
    """Run the whole service while the block runs; SIGTERM ends the block as Ctrl-C does."""
    from glimsum_services.embedded import (  # noqa: PLC0415  # loads the queue's libraries
        EmbeddedService,
    )

    before = signal.signal(signal.SIGTERM, _interrupt)
    service = EmbeddedService(settings)
    try:
        service.start()
        yield service
    finally:
        # A second Ctrl-C while all is stopping would leave processes behind.
        interrupt = signal.signal(signal.SIGINT, signal.SIG_IGN)
        try:
            service.stop()
        finally:
            signal.signal(signal.SIGINT, interrupt)
            signal.signal(signal.SIGTERM, before)


def _interrupt(*_: object) -> NoReturn:
    raise KeyboardInterrupt


def wait_for_interrupt() -> None:
    """Return after Ctrl-C or SIGTERM, inside `running_service`."""
    try:
        while True:
            time.sleep(1)
    except KeyboardInterrupt:
        return


def up(
    *,
    root: RootPairs = None,
    port: Annotated[
        int | None,
        typer.Option("--port", min=0, max=65535, help="Port of the page; 0: a free one."),
    ] = None,
    slots: Slots = None,
    state: StateFolder = None,
    as_json: AsJson = False,
) -> None:
    """Run the service here: ledger, page and workers, until Ctrl-C.

    Without any root set, the current folder becomes the root "here".
    """
    folder = None if state is None else state.resolve()
    settings = read_settings(
        roots=read_roots(root) or None, port=port, slots=slots, state_folder=folder
    )
    if not settings.roots:
        settings = settings.model_copy(update={"roots": {"here": Path.cwd()}})
    with running_service(settings) as service:
        if as_json:
            roots = {name: str(path) for name, path in settings.roots.items()}
            facts = {"page": service.url, "roots": roots, "slots": settings.slots}
            facts["next"] = submit_line(service.url)
            state_words = {"state_folder": str(settings.state_folder)}
            say_json(facts | state_words | {"processes": service.processes()}, one_line=True)
        else:
            say(f"page and API   {service.url}")
            for name, path in sorted(settings.roots.items()):
                say(f"root {name:<10}{path}")
            say(f"slots          {settings.slots}")
            say(f"state and logs {settings.state_folder}")
            say(f"next, in another terminal: {submit_line(service.url)}")
            say("Ctrl-C stops the service; what is unfinished goes on at the next start.")
        wait_for_interrupt()


def worker(
    *,
    broker: Annotated[
        str | None,
        typer.Option(
            "--broker",
            help="Server of queue and ledger, redis:// or rediss://. With a password rather name "
            "a file that holds the address in GLIMSUM_BROKER_FILE: others here see this line.",
        ),
    ] = None,
    root: RootPairs = None,
    slots: Slots = None,
    state: StateFolder = None,
    as_json: AsJson = False,
) -> None:
    """Work for a service that runs elsewhere, until Ctrl-C."""
    folder = None if state is None else state.resolve()
    settings = read_settings(
        broker=broker, roots=read_roots(root) or None, slots=slots, state_folder=folder
    )
    if not settings.broker:
        raise WrongUse(
            "which service is this worker for?",
            place=Place(field="--broker"),
            seen="no broker",
            expected="the address of its server of queue and ledger",
            remedy="Give --broker or set GLIMSUM_BROKER; for all on one machine: glimsum up.",
        )
    _become_worker(settings, as_json=as_json)


def _become_worker(settings: "Settings", *, as_json: bool) -> NoReturn:
    """Check that the server answers, then turn this process into the worker.

    The libraries read the number of their threads when they are loaded, and the C library its
    memory settings when a program starts: so a fresh program it is.
    """
    from glimsum_services.child_environment import (  # noqa: PLC0415  # keeps `schema` light
        KEEP_PAGES,
        ONE_THREAD,
    )
    from glimsum_services.embedded import (  # noqa: PLC0415  # loads the queue's libraries
        WORKER,
    )
    from glimsum_services.settings import variable  # noqa: PLC0415  # keeps `schema` light
    from glimsum_services.store.connection import (  # noqa: PLC0415  # loads redis
        adopt,
        connect,
        hide_password,
    )
    from glimsum_services.store.keys import Keys  # noqa: PLC0415  # the same

    client = connect(settings.broker)
    try:
        adopt(client, Keys(), 3.0)
    except StoreError as error:
        error.remedy = error.remedy or "Start the service first, or correct --broker."
        raise
    finally:
        client.close()
    shown = hide_password(settings.broker)
    if as_json:
        say_json({"broker": shown, "slots": settings.slots}, one_line=True)
    else:
        say(f"working for {shown} with {settings.slots} slots; Ctrl-C stops")
    environment = dict(os.environ) | settings.environment() | ONE_THREAD | KEEP_PAGES
    environment[variable("broker")] = settings.broker
    sys.stdout.flush()
    os.execve(WORKER[0], list(WORKER), environment)  # noqa: S606  # our own command, no shell
