"""Bodies of requests: their kind, and the same request answered once however often it is sent."""

import hashlib
import json
from collections.abc import Callable
from typing import Annotated, Any

from fastapi import Depends, Header, Request
from fastapi.responses import JSONResponse

from glimsum_services.api.admission import asker_name
from glimsum_services.api.problem_details import refusal
from glimsum_services.api.service import Service
from glimsum_services.job_file import Kind
from glimsum_services.store.requests import Standing

KINDS: dict[str, Kind] = {
    "application/json": "json",
    "application/merge-patch+json": "json",
    "application/yaml": "yaml",
    "application/x-yaml": "yaml",
    "text/yaml": "yaml",
}


class Body:
    """What was sent.

    Attributes
    ----------
    data : bytes
    kind : {"yaml", "json"}
    """

    def __init__(self, data: bytes, kind: Kind) -> None:
        self.data = data
        self.kind: Kind = kind


async def _body(request: Request) -> Body:
    named = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if named not in KINDS:
        raise refusal(
            415,
            "the kind of the body is not one this address reads",
            seen=f"Content-Type: {named[:80] or 'nothing'}",
            expected="application/json or application/yaml",
            remedy="State the Content-Type.",
        )
    return Body(await request.body(), KINDS[named])


Sent = Annotated[Body, Depends(_body)]
"""The body of a request, as a route asks for it."""

RequestKey = Annotated[
    str | None,
    Header(
        alias="Idempotency-Key",
        min_length=1,
        max_length=200,
        description="The same key and body again within a day gives the same answer.",
    ),
]


def body_schema(description: str, schema: dict[str, Any]) -> dict[str, Any]:
    """Return the declaration of a body in JSON or YAML."""
    return {
        "requestBody": {
            "required": True,
            "description": description,
            "content": {
                kind: {"schema": schema} for kind in ("application/json", "application/yaml")
            },
        }
    }


def answer_once(
    service: Service, key: str | None, address: str, body: Body, answer: Callable[[], JSONResponse]
) -> JSONResponse:
    """Return the answer to a request, the kept one if the same was asked before.

    Raises
    ------
    Refusal
        422: the key was used for another body; 409: the same request is still being answered.
    """
    if key is None:
        return answer()
    name = f"{asker_name()} {address} {key}".strip()
    digest = hashlib.sha256(body.data).hexdigest()
    known = service.requests.begin(name, digest)
    if known.standing is Standing.OTHER_BODY:
        raise refusal(
            422,
            "this Idempotency-Key was used for another request",
            seen=key,
            expected="a key of its own for each request",
            remedy="Send it with a new key.",
        )
    if known.standing is Standing.IN_PROGRESS:
        raise refusal(
            409,
            "the same request is being answered now",
            seen=key,
            expected="one at a time",
            remedy="Ask again in a second.",
            Retry_After="1",
        )
    if known.answer is not None:
        headers = {**known.answer["headers"], "Idempotent-Replayed": "true"}
        return JSONResponse(known.answer["body"], known.answer["status"], headers=headers)
    try:
        fresh = answer()
    except BaseException:
        service.requests.forget(name)
        raise
    kept_headers = {n: v for n, v in fresh.headers.items() if n in ("location", "etag")}
    kept = {
        "status": fresh.status_code,
        "headers": kept_headers,
        "body": json.loads(bytes(fresh.body)),
    }
    service.requests.finish(name, digest, kept)
    return fresh
