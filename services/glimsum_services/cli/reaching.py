"""The way to a running service, and what to type where none answers."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

from glimsum_jobs.errors import JobError
from glimsum_services.cli.options import DEFAULT_SERVICE, wrong_settings
from glimsum_services.service_errors import ServiceAway

if TYPE_CHECKING:
    from glimsum_services.client import Client
    from glimsum_services.settings import Settings

HERE = ("127.0.0.1", "localhost")


def read_settings(file: Path | None = None, **given: Any) -> "Settings":
    """Return the settings of this machine; what is given on the command line comes first.

    `file` is read in the place of the one that ``GLIMSUM_SETTINGS`` names.

    Raises
    ------
    WrongUse
        A setting has a value it can't have.
    """
    from glimsum_services.settings import load_settings  # noqa: PLC0415  # keeps `schema` light

    try:
        named = {} if file is None else {"GLIMSUM_SETTINGS": str(file.resolve())}
        return load_settings({**os.environ, **named}, **given)
    except JobError as error:
        raise wrong_settings(error) from error


@contextmanager
def reach(service: str) -> Iterator["Client"]:
    """Yield a client of the service at an address.

    Raises
    ------
    ServiceAway
        Nobody answers there; the remedy is the line to type.
    """
    from glimsum_services.client import Client  # noqa: PLC0415  # loads httpx

    with Client(service, token=read_settings().token) as client:
        try:
            yield client
        except ServiceAway as error:
            if error.place.field == "--service":
                error.remedy = way_to_start(client.address)
            raise


def way_to_start(address: str) -> str:
    """Return what to do so that a service answers at an address."""
    try:
        parts = urlsplit(address)
        host, port = parts.hostname, parts.port
    except ValueError:
        host, port = None, None
    if host is None:
        return f"Write the address as {DEFAULT_SERVICE}: http://, host, port."
    if host not in HERE:
        return (
            f"Start the service on {host} with GLIMSUM_HOST={host} glimsum up; if it runs at "
            "another address, name that one with --service."
        )
    usual = urlsplit(DEFAULT_SERVICE).port
    option = "" if port == usual else f" --port {port or 80}"
    return (
        f"In another terminal, in the folder that holds your shots, type: glimsum up{option}. "
        "Then type this line again. If a service runs already, add the --service it printed."
    )


def submit_line(address: str) -> str:
    """Return the line that submits a job to the service at an address."""
    option = "" if address == DEFAULT_SERVICE else f" --service {address}"
    return f"glimsum submit JOB --wait{option}"
