"""What every request passes first: whose host it names, where it comes from, how large it is."""

import socket
from collections.abc import Awaitable, Callable, Iterable, MutableMapping
from typing import Any
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders

from glimsum_jobs.problems import Problem, Rank
from glimsum_services.api.problem_details import answer_problem
from glimsum_services.settings import Settings

Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
Asgi = Callable[[Message, Receive, Send], Awaitable[None]]

MAX_BODY_BYTES = 4 * 1024 * 1024
LOOPBACK = ("localhost", "127.0.0.1", "::1")

SECURITY_HEADERS = {
    "Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; "
    "img-src 'self'; connect-src 'self'; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
}


class TooLarge(Exception):  # raised inside the reading of a body, turned into 413 here
    """The body is longer than `MAX_BODY_BYTES`."""


class Guards:
    """Refuses strange hosts and origins and bodies that are too large; adds security headers.

    A page of another site can make a browser ask a service on the same machine under that site's
    name (DNS rebinding); the Host header gives it away.

    Parameters
    ----------
    app : ASGI application
        What comes after.
    hosts : iterable of str
        Names the service may be asked under, without port.
    """

    def __init__(self, app: Asgi, hosts: Iterable[str] = LOOPBACK) -> None:
        self._app = app
        self._hosts = frozenset(hosts)

    async def __call__(self, scope: Message, receive: Receive, send: Send) -> None:
        """Let the request through or answer it with a problem."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                answer = MutableHeaders(scope=message)
                for name, value in SECURITY_HEADERS.items():
                    answer.setdefault(name, value)
                answer.setdefault("Cache-Control", "no-store")
            await send(message)

        refused = self._refuse(scope["path"], headers)
        if refused is not None:
            await refused(scope, receive, send_with_headers)
            return
        await self._limited(scope, receive, send_with_headers)

    async def _limited(self, scope: Message, receive: Receive, send: Send) -> None:
        length, begun = 0, False

        async def receive_limited() -> Message:
            nonlocal length
            message = await receive()
            length += len(message.get("body", b""))
            if length > MAX_BODY_BYTES:
                raise TooLarge
            return message

        async def send_noted(message: Message) -> None:
            nonlocal begun
            begun = True
            await send(message)

        try:
            await self._app(scope, receive_limited, send_noted)
        except TooLarge:
            if begun:
                raise
            await _too_large(scope["path"], f"more than {MAX_BODY_BYTES} bytes")(
                scope, receive, send
            )

    def _refuse(self, path: str, headers: Headers) -> Asgi | None:
        host = headers.get("host", "")
        if _name_of(f"//{host}") not in self._hosts:
            return _refusal(
                path,
                "the service is not asked under its own name",
                f"Host: {host[:80]}",
                " or ".join(sorted(self._hosts)),
                "Open it under one of these names, or allow this one in the settings.",
            )
        origin = headers.get("origin")
        if origin is not None and _name_of(origin) not in self._hosts:
            return _refusal(
                path,
                "a page of another site asks",
                f"Origin: {origin[:80]}",
                "this service's own page, or a program",
                "Open the page of this service itself.",
            )
        length = headers.get("content-length", "0")
        if not length.isdecimal() or int(length) > MAX_BODY_BYTES:
            return _too_large(path, f"{length[:20]} bytes")
        return None


def own_names(settings: Settings) -> set[str]:
    """Return the names a service may be asked under by its settings, without port."""
    everywhere = {socket.gethostname().lower()} if settings.host in ("0.0.0.0", "::") else set()  # noqa: S104  # compared, not bound
    stated = {settings.host.lower(), settings.lan, *settings.names} - {""}
    return {*LOOPBACK, *stated, *everywhere}


def _name_of(url: str) -> str | None:
    try:
        return urlsplit(url).hostname
    except ValueError:
        return None


def _refusal(path: str, what: str, seen: str, expected: str, remedy: str) -> Asgi:
    problem = Problem(rank=Rank.STOPS_SHOT, what=what, seen=seen, expected=expected, remedy=remedy)
    return answer_problem(path, 403, what, [problem])


def _too_large(path: str, seen: str) -> Asgi:
    problem = Problem(
        rank=Rank.STOPS_SHOT,
        what="the request is too large",
        seen=seen,
        expected=f"{MAX_BODY_BYTES} bytes at most",
        remedy="Submit the shots in several requests.",
    )
    return answer_problem(path, 413, problem.what, [problem])
