"""One line of the log a request, and the id both sides know it by."""

import logging
import re
import time
from secrets import token_hex

from starlette.datastructures import Headers, MutableHeaders

from glimsum_services.api.guards import Asgi, Message, Receive, Send

HEADER = "X-Request-ID"

_ID = re.compile(r"[A-Za-z0-9._-]{1,64}")
_RUN = re.compile(r"/shots/([^/]+)(?:/versions/(\d{1,4})(?:/frames/(\d{1,7}))?)?")

log = logging.getLogger(__name__)


class RequestLog:
    """Names each request and writes down how it was answered; the outermost of all.

    Parameters
    ----------
    app : ASGI application
        What comes after.
    """

    def __init__(self, app: Asgi) -> None:
        self._app = app

    async def __call__(self, scope: Message, receive: Receive, send: Send) -> None:
        """Pass the request on and write its line when the answer ends."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        stated = Headers(scope=scope).get(HEADER, "")
        name = stated if _ID.fullmatch(stated) else token_hex(8)
        asked = scope.setdefault("asked", {})
        begun, status = time.monotonic(), 0

        async def send_named(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                MutableHeaders(scope=message)[HEADER] = name
            await send(message)

        try:
            await self._app(scope, receive, send_named)
        finally:
            about = {
                "event": "request",
                "request_id": name,
                "method": scope["method"],
                "path": scope["path"][:200],
                "status": status,
                "ms": round((time.monotonic() - begun) * 1000, 1),
                **asked,
                **_run_of(scope["path"]),
            }
            log.info("%s %s: %d", scope["method"], scope["path"][:200], status, extra=about)


def _run_of(path: str) -> dict[str, str]:
    found = _RUN.match(path)
    if found is None:
        return {}
    shot, version, frame = found.groups()
    about = {"run": f"{shot[:64]}/v{int(version):03d}" if version else shot[:64]}
    return about | ({"stage": "combine", "item": frame} if frame else {})
