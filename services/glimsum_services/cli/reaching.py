"""The way to a running service, and what to type where none answers."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from glimsum_services.cli.options import DEFAULT_SERVICE
from glimsum_services.service_errors import ServiceAway

if TYPE_CHECKING:
    from glimsum_services.client import Client

HERE = ("127.0.0.1", "localhost")


@contextmanager
def reach(service: str) -> Iterator["Client"]:
    """Yield a client of the service at an address.

    Raises
    ------
    ServiceAway
        Nobody answers there; the remedy is the line to type.
    """
    from glimsum_services.client import Client  # noqa: PLC0415  # loads httpx

    with Client(service) as client:
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
