"""The page and its parts, from the package itself."""

from importlib.resources import files

from fastapi import APIRouter
from fastapi.responses import Response

router = APIRouter(include_in_schema=False)

PARTS = {
    "/": ("index.html", "text/html; charset=utf-8"),
    "/night": ("night.html", "text/html; charset=utf-8"),
    "/night.js": ("night.js", "text/javascript; charset=utf-8"),
    "/page.js": ("page.js", "text/javascript; charset=utf-8"),
    "/shot.js": ("shot.js", "text/javascript; charset=utf-8"),
    "/wedges.js": ("wedges.js", "text/javascript; charset=utf-8"),
    "/sign_in.js": ("sign_in.js", "text/javascript; charset=utf-8"),
    "/ruler.js": ("ruler.js", "text/javascript; charset=utf-8"),
    "/page.css": ("page.css", "text/css; charset=utf-8"),
    "/favicon.svg": ("favicon.svg", "image/svg+xml"),
}
"""Address, file and kind of each part; nothing else is ever sent from the folder."""


def _add(address: str, name: str, kind: str) -> None:
    data = files("glimsum_services.page").joinpath(name).read_bytes()

    async def show() -> Response:
        return Response(data, media_type=kind, headers={"Cache-Control": "no-cache"})

    router.add_api_route(address, show, methods=["GET"], name=name)


for _address, (_name, _kind) in PARTS.items():
    _add(_address, _name, _kind)
