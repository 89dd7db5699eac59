"""Pictures of a version for the eye: previews of frames, and the movie."""

import os
import re
from collections.abc import Iterator
from typing import Annotated, Any, BinaryIO

from fastapi import APIRouter, Path, Request
from fastapi.responses import Response, StreamingResponse

from glimsum_jobs.ledger import SINGLE_ITEM, Stage
from glimsum_jobs.paths import parse_root_path
from glimsum_services.api.problem_details import error_answers, refusal
from glimsum_services.api.service import Served
from glimsum_services.api.shots import ShotName, Version
from glimsum_services.folders import open_file

router = APIRouter(prefix="/shots/{shot}/versions/{version}", tags=["viewing"])

PREVIEWS = "preview"
"""Folder of the previews inside the folder of a version."""
PIECE_BYTES = 256 * 1024

Frame = Annotated[int, Path(ge=0, le=9_999_999, description="Number of a shot frame.")]


def binary(kind: str) -> dict[int, dict[str, Any]]:
    """Return the declaration of an answer that is a file, whole, in part or unchanged."""
    schema = {"type": "string", "format": "binary"}
    return {
        200: {"content": {kind: {"schema": schema}}},
        206: {"description": "The part that was asked for", "content": {kind: {"schema": schema}}},
        304: {"description": "It has not changed"},
    }


@router.get(
    "/frames/{frame}/preview",
    operation_id="get_preview",
    response_class=Response,
    responses=error_answers(404, 416, also=binary("image/jpeg")),
)
def get_preview(
    request: Request, service: Served, shot: ShotName, version: Version, frame: Frame
) -> Response:
    """Show the viewing copy of a finished frame (JPEG)."""
    order = service.find(shot, version)
    result = service.ledger.result(order.run, Stage.COMBINE, str(frame)) or {}
    name = result.get("preview")
    if not isinstance(name, str) or not name:
        raise refusal(
            404,
            f"frame {frame} of {order.run} has no preview",
            seen="not finished" if not result else "no preview was made",
            expected="a finished frame",
            remedy=f"GET /shots/{shot}/versions/{version}/frames lists them.",
        )
    folder = parse_root_path(order.folder).child(PREVIEWS)
    return send_file(request, open_file(service.settings.roots, folder, name), "image/jpeg")


@router.get(
    "/movie",
    operation_id="get_movie",
    response_class=Response,
    responses=error_answers(404, 416, also=binary("video/mp4")),
)
def get_movie(request: Request, service: Served, shot: ShotName, version: Version) -> Response:
    """Show the viewing movie of a finished version; parts of it may be asked for."""
    order = service.find(shot, version)
    result = service.ledger.result(order.run, Stage.FINISH, SINGLE_ITEM) or {}
    name = result.get("movie")
    if not isinstance(name, str) or not name:
        raise refusal(
            404,
            f"{order.run} has no movie",
            seen="not finished" if not result else "none was asked for",
            expected="a finished version whose job asks for a movie",
            remedy="Wait until it is done.",
        )
    file = open_file(service.settings.roots, parse_root_path(order.folder), name)
    return send_file(request, file, "video/mp4")


def send_file(request: Request, file: BinaryIO, kind: str) -> Response:
    """Answer with a file or the one part of it that is asked for (RFC 9110, 14.2)."""
    status = os.fstat(file.fileno())
    size = status.st_size
    etag = f'"{status.st_mtime_ns:x}-{size:x}"'
    headers = {"ETag": etag, "Cache-Control": "private, no-cache", "Accept-Ranges": "bytes"}
    if request.headers.get("if-none-match") == etag:
        file.close()
        return Response(status_code=304, headers=headers)
    start, end = 0, size
    asked = re.fullmatch(r"bytes=(\d{0,18})-(\d{0,18})", request.headers.get("range", ""))
    partial = asked is not None and request.headers.get("if-range", etag) == etag
    if asked is not None and partial:
        start, end = _part(asked[1], asked[2], size)
        if start >= end:
            file.close()
            raise refusal(
                416,
                "this part of the file does not exist",
                seen=request.headers["range"],
                expected=f"a part of {size} bytes",
                remedy="Ask for the whole file.",
                Content_Range=f"bytes */{size}",
            )
        headers["Content-Range"] = f"bytes {start}-{end - 1}/{size}"
    headers["Content-Length"] = str(end - start)
    pieces = _pieces(file, start, end)
    return StreamingResponse(pieces, 206 if partial else 200, headers=headers, media_type=kind)


def _part(first: str, last: str, size: int) -> tuple[int, int]:
    """Return begin and end (not included) of a byte range; empty when it can't be had."""
    if not first:
        return (max(0, size - int(last)), size) if last and int(last) else (0, 0)
    end = min(int(last) + 1, size) if last else size
    return int(first), end


def _pieces(file: BinaryIO, start: int, end: int) -> Iterator[bytes]:
    with file:
        file.seek(start)
        left = end - start
        while left > 0 and (piece := file.read(min(PIECE_BYTES, left))):
            left -= len(piece)
            yield piece
