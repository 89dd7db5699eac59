"""`glimsum up` and `glimsum worker`: the service on this machine, or a worker for another's."""

import os
import shlex
import signal
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NamedTuple, NoReturn

import typer

from glimsum_jobs.errors import StoreError
from glimsum_jobs.problems import Place
from glimsum_services.cli.options import (
    AsJson,
    RootPairs,
    SettingsFile,
    StateFolder,
    WrongUse,
    read_roots,
)
from glimsum_services.cli.reaching import read_settings, submit_line
from glimsum_services.cli.telling import say, say_json

if TYPE_CHECKING:
    from glimsum_services.embedded import EmbeddedService
    from glimsum_services.settings import Settings

Slots = Annotated[
    int | None, typer.Option("--slots", min=1, help="Frames at once; default: one a processor.")
]


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
    lan: Annotated[
        str | None,
        typer.Option(
            "--lan",
            metavar="ADDRESS",
            help="Address of this machine in the home network: let machines there join, and "
            "serve the page there, with tokens. Nothing is encrypted on the way.",
        ),
    ] = None,
    slots: Slots = None,
    state: StateFolder = None,
    settings_file: SettingsFile = None,
    as_json: AsJson = False,
) -> None:
    """Run the service here: ledger, page and workers, until Ctrl-C.

    Without any root set, the current folder becomes the root "here".
    """
    folder = None if state is None else state.resolve()
    settings = read_settings(
        settings_file,
        roots=read_roots(root) or None,
        port=port,
        lan=lan,
        slots=slots,
        state_folder=folder,
    )
    if not settings.roots:
        settings = settings.model_copy(update={"roots": {"here": Path.cwd()}})
    settings = _opened(settings)
    with running_service(settings) as service:
        line = _line_to_join(settings)
        if as_json:
            _tell_json(settings, service, line)
        else:
            _tell(settings, service, line)
        wait_for_interrupt()


def _opened(settings: "Settings") -> "Settings":
    """Return the settings with the page served where ``--lan`` says, if it does.

    Raises
    ------
    WrongUse
        The queue is somebody else's server, which we can't open.
    """
    if not settings.lan:
        return settings
    if settings.broker:
        raise WrongUse(
            "a server of your own can't be opened by --lan",
            place=Place(field="--lan"),
            seen="GLIMSUM_BROKER is set",
            expected="our own server, or no --lan",
            remedy="Give other machines the address of your server: glimsum worker --broker.",
        )
    alone = settings.model_copy(update={"lan": ""})
    here = settings.host if alone.asks_for_tokens else settings.lan
    return settings.model_copy(update={"host": here})


def _line_to_join(settings: "Settings") -> "JoinLine | None":
    if not settings.lan:
        return None
    from glimsum_services.lan import OpenPort  # noqa: PLC0415  # keeps `schema` light

    port = OpenPort(settings.state_folder / "ledger", settings.lan, settings.lan_port)
    return JoinLine(port.write_line(list(settings.roots)), port.line_file)


class JoinLine(NamedTuple):
    """What another machine types to join; it holds a password."""

    text: str
    file: Path


def _tell_json(settings: "Settings", service: "EmbeddedService", line: JoinLine | None) -> None:
    facts: dict[str, object] = {
        "page": service.url,
        "roots": {name: str(path) for name, path in settings.roots.items()},
        "slots": settings.slots,
        "next": submit_line(service.url),
        "state_folder": str(settings.state_folder),
        "processes": service.processes(),
    }
    if line is not None:
        facts["join_line_file"] = str(line.file)
    say_json(facts, one_line=True)


def _tell(settings: "Settings", service: "EmbeddedService", line: JoinLine | None) -> None:
    say(f"page and API   {service.url}")
    for name, path in sorted(settings.roots.items()):
        say(f"root {name:<10}{path}")
    say(f"slots          {settings.slots}")
    say(f"state and logs {settings.state_folder}")
    if settings.asks_for_tokens:
        state = f" --state {shlex.quote(str(settings.state_folder))}"
        say("page and API ask for a token; make one with:")
        say(f"  glimsum token make NAME --scope read --scope submit --scope control{state}")
    if line is not None:
        say("Other machines may join. Nothing is encrypted on the way: for a network at home only;")
        say("for any other use a server with TLS (GLIMSUM_BROKER=rediss://...). Type there, with")
        say("FOLDER as that machine has it:")
        if sys.stdout.isatty():
            say(f"  {line.text}")
        else:  # a log is no place for a password
            say(f"  the line in {line.file}")
    say(f"next, in another terminal: {submit_line(service.url)}")
    say("Ctrl-C stops the service; what is unfinished goes on at the next start.")


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
    settings_file: SettingsFile = None,
    as_json: AsJson = False,
) -> None:
    """Work for a service that runs elsewhere, until Ctrl-C."""
    folder = None if state is None else state.resolve()
    settings = read_settings(
        settings_file,
        broker=broker,
        roots=read_roots(root) or None,
        slots=slots,
        state_folder=folder,
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
    """Make sure that this machine may join, then turn this process into the worker.

    The libraries read the number of their threads when they are loaded, and the C library its
    memory settings when a program starts: so a fresh program it is.
    """
    from glimsum_services.child_environment import (  # noqa: PLC0415  # keeps `schema` light
        KEEP_PAGES,
        ONE_THREAD,
        kept_kernels,
    )
    from glimsum_services.embedded import (  # noqa: PLC0415  # loads the queue's libraries
        WORKER,
    )
    from glimsum_services.farm import try_to_join  # noqa: PLC0415  # the same
    from glimsum_services.settings import variable  # noqa: PLC0415  # keeps `schema` light
    from glimsum_services.store.connection import hide_password  # noqa: PLC0415  # loads redis

    try:
        try_to_join(settings)
    except StoreError as error:
        error.remedy = error.remedy or "Start the service first, or correct --broker."
        raise
    shown = hide_password(settings.broker)
    if as_json:
        say_json({"broker": shown, "slots": settings.slots}, one_line=True)
    else:
        say(f"working for {shown} with {settings.slots} slots; Ctrl-C stops")
    environment = dict(os.environ) | settings.environment() | ONE_THREAD | KEEP_PAGES
    environment |= kept_kernels(settings.state_folder, environment)
    in_file = f"{variable('broker')}_FILE" in environment
    if not in_file or read_settings().broker != settings.broker:  # --broker comes first
        environment[variable("broker")] = settings.broker
    sys.stdout.flush()
    os.execve(WORKER[0], list(WORKER), environment)  # noqa: S606  # our own command, no shell
