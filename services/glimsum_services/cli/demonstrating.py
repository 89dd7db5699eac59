"""`glimsum demo`: the packaged shot made by the real service, in a folder of its own."""

import socket
import time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from glimsum_services.cli.exit_codes import Ending
from glimsum_services.cli.following import choose_view, follow
from glimsum_services.cli.options import AsJson
from glimsum_services.cli.reaching import read_settings
from glimsum_services.cli.running import running_service, wait_for_interrupt
from glimsum_services.cli.submitting import read_all, send, tell_sent
from glimsum_services.cli.telling import say, say_json
from glimsum_services.cli.troubles import tell_troubles

if TYPE_CHECKING:
    from glimsum_services.client import Client
    from glimsum_services.run_view import RunView
    from glimsum_services.settings import Settings

ROOT = "demo"
LEAST_SLOTS = 2
"""So that frames are shared even on a machine with one processor."""


def demo(
    *,
    folder: Annotated[
        Path, typer.Option("--folder", help="Where passes, job and results go.")
    ] = Path("glimsum_demo"),
    port: Annotated[
        int, typer.Option("--port", min=0, max=65535, help="Port of the page; a free one if busy.")
    ] = 8470,
    keep_running: Annotated[
        bool, typer.Option("--keep-running", help="Leave the service and its page up afterwards.")
    ] = False,
    as_json: AsJson = False,
) -> Ending:
    """Make the demo shot: a made-up harbour at dusk, combined from its passes by the service."""
    from glimsum_services.demo.making import (  # noqa: PLC0415  # only this command
        FULL_JOB_FILE,
        make_demo,
    )

    began = time.monotonic()
    place = folder.resolve()
    job = make_demo(place)
    asked = read_all([job])
    settings = _settings(place, port)
    with running_service(settings) as service:
        from glimsum_services.client import Client  # noqa: PLC0415  # loads httpx
        from glimsum_services.run_stream import follow_runs  # noqa: PLC0415  # the same

        with Client(service.url) as client:
            if not as_json:
                say(f"passes and job  {place}")
                say(f"page            {client.page}  (while this command runs)")
            up_s = time.monotonic() - began
            sent = send(client, asked, [job], settings.roots)
            remarks = [remark for each in asked for remark in each.remarks]
            tell_sent(client, sent, remarks, as_json=as_json)
            runs = follow(follow_runs(client, [sent[0].run]), choose_view(as_json=as_json))
            seconds = {"up": round(up_s, 1), "all": round(time.monotonic() - began, 1)}
            tell_troubles(client, runs, as_json=as_json)
            _tell_end(_results(client, runs[0], place), seconds, as_json=as_json)
        from glimsum_services.workshop.drawing_takes import (  # noqa: PLC0415  # loads the engine
            draw_takes,
        )

        draw_takes(place)
        if not as_json:
            say(f"change numbers in {job} and run the demo again: that makes the next version")
            say(
                "or go on with its service, for `glimsum rerun` and the like: "
                f"GLIMSUM_STATE_FOLDER={settings.state_folder} glimsum up --root {ROOT}={place}"
            )
            say(
                f"everything a recipe can do: glimsum still {place / FULL_JOB_FILE} 1006 --steps "
                f"--out steps.png --root {ROOT}={place}"
            )
        if keep_running:
            if not as_json:
                say(f"the page stays up at {service.url}/ until Ctrl-C")
            wait_for_interrupt()
    return Ending.DONE if runs[0].whole else Ending.REFUSED


def _settings(place: Path, port: int) -> "Settings":
    """Return settings that keep everything of the demo in its folder.

    The broker is the demo's own, whatever the environment names.
    """
    settings = read_settings(
        state_folder=place / "state", roots={ROOT: place}, broker="", host="127.0.0.1", port=port
    )
    slots = max(LEAST_SLOTS, settings.slots)
    return settings.model_copy(update={"slots": slots, "port": _port_or_free(port)})


def _port_or_free(port: int) -> int:
    """Return `port`, or 0 (a free one) if it is busy."""
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", port))
        except OSError:
            return 0
    return port


def _results(client: "Client", run: "RunView", place: Path) -> dict[str, Any]:
    """Return where everything lies, as paths of this machine, and how it went."""
    details = client.details(run.run)
    folder = place / details["folder"].removeprefix(f"{ROOT}:")
    workers = client.workers_of(run.run)
    return {
        "run": run.run,
        "state": str(run.state),
        "frames_done": run.done,
        "frames_set_aside": run.set_aside,
        "workers": workers,
        "folder": str(folder),
        "masters": str(folder / "master"),
        "movie": _only(folder, "*/*.mp4"),
        "contact_sheet": _only(folder, "*/*_contact.jpg"),
    }


def _only(folder: Path, pattern: str) -> str | None:
    found = sorted(folder.glob(pattern))
    return str(found[0]) if found else None


def _tell_end(results: dict[str, Any], seconds: dict[str, float], *, as_json: bool) -> None:
    if as_json:
        say_json({**results, "seconds": seconds}, one_line=True)
        return
    say(
        f"{results['state']}: {results['frames_done']} frames in {seconds['all']} s, "
        f"by {len(results['workers'])} worker processes"
    )
    for name in ("masters", "movie", "contact_sheet"):
        say(f"{name.replace('_', ' '):<15} {results[name] or 'none'}")
