"""One shape for all trouble: problem details (RFC 9457), our problems in `errors`."""

import logging
import re
from collections.abc import Mapping, Sequence
from http import HTTPStatus
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from pydantic import BaseModel, ConfigDict
from redis.exceptions import RedisError
from starlette.exceptions import HTTPException

from glimsum_jobs.errors import GlimsumError, JobError, PathError, SourceError, StoreError
from glimsum_jobs.problems import Problem, Rank
from glimsum_services.api.unusable_parts import unusable_parts

MEDIA_TYPE = "application/problem+json"
MOST_ERRORS = 200
"""Most problems of one answer."""
RETRY_AFTER_S = 5

log = logging.getLogger(__name__)


class Trouble(BaseModel):
    """One thing that is wrong."""

    model_config = ConfigDict(extra="forbid")

    rank: str
    what: str
    where: dict[str, str | int]
    """Known parts of the place: shot, pass, frame, file, field, line, column."""
    seen: str
    expected: str
    remedy: str


class ProblemDetail(BaseModel):
    """The body of every answer that is not a success."""

    model_config = ConfigDict(extra="forbid")

    type: str
    title: str
    status: int
    detail: str
    instance: str
    errors: list[Trouble]


class Refusal(Exception):  # it ends one request, in the one shape
    """Ends a request with a status and words.

    Parameters
    ----------
    status : int
        HTTP status.
    detail : str
        What is wrong, in a sentence.
    problems : sequence of Problem
        Each thing that is wrong.
    headers : mapping of str to str, optional
        More headers of the answer.
    """

    def __init__(
        self,
        status: int,
        detail: str,
        problems: Sequence[Problem] = (),
        headers: Mapping[str, str] | None = None,
    ) -> None:
        self.status = status
        self.detail = detail
        self.problems = problems
        self.headers = headers
        super().__init__(detail)


def refusal(
    status: int, what: str, *, seen: str, expected: str, remedy: str, **headers: str
) -> Refusal:
    """Return a refusal with one problem."""
    problem = Problem(rank=Rank.STOPS_SHOT, what=what, seen=seen, expected=expected, remedy=remedy)
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    return Refusal(status, what, [problem], named)


def as_trouble(problem: Problem) -> Trouble:
    """Return a problem as it stands in an answer."""
    place = problem.place.model_dump(exclude_none=True)
    if "pass_name" in place:
        place["pass"] = place.pop("pass_name")
    return Trouble(
        rank=problem.rank.value,
        what=problem.what,
        where=place,
        seen=problem.seen,
        expected=problem.expected,
        remedy=problem.remedy,
    )


def error_answers(
    *statuses: int, also: Mapping[int, dict[str, Any]] | None = None
) -> dict[int | str, dict[str, Any]]:
    """Return the declaration of a route's error answers, and of what it may `also` answer."""
    wanted = sorted({400, 401, 403, 413, 422, 500, 503, *statuses})
    answers: dict[int | str, dict[str, Any]] = {
        status: {
            "description": HTTPStatus(status).phrase,
            "content": {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/ProblemDetail"}}},
        }
        for status in wanted
    }
    answers.update((also or {}).items())
    return answers


def answer_problem(
    path: str,
    status: int,
    detail: str,
    problems: Sequence[Problem] = (),
    headers: Mapping[str, str] | None = None,
) -> JSONResponse:
    """Return the answer; beyond `MOST_ERRORS` problems the rest is counted in `detail`."""
    if len(problems) > MOST_ERRORS:
        detail = f"{detail} ({len(problems) - MOST_ERRORS} more problems are not listed)"
    body = ProblemDetail(
        type="about:blank",
        title=HTTPStatus(status).phrase,
        status=status,
        detail=detail,
        instance=path,
        errors=[as_trouble(problem) for problem in problems[:MOST_ERRORS]],
    )
    return JSONResponse(
        body.model_dump(), status, headers=dict(headers or {}), media_type=MEDIA_TYPE
    )


def _answer_refusal(request: Request, error: Exception) -> JSONResponse:
    assert isinstance(error, Refusal)  # noqa: S101  # registered for this type alone
    return answer_problem(
        request.url.path, error.status, error.detail, error.problems, error.headers
    )


def _answer_ours(request: Request, error: Exception) -> JSONResponse:
    assert isinstance(error, GlimsumError)  # noqa: S101  # registered for this type alone
    path = request.url.path
    if isinstance(error, JobError):
        return answer_problem(path, 422, error.what, error.problems)
    if isinstance(error, StoreError):
        return answer_problem(
            path, 503, error.what, [error.problem()], {"Retry-After": str(RETRY_AFTER_S)}
        )
    status = {PathError: 422, SourceError: 404}.get(type(error), 500)
    return answer_problem(path, status, error.what, [error.problem()])


def _answer_silence(request: Request, error: Exception) -> JSONResponse:
    log.warning("%s: the ledger gives no answer: %s", request.url.path, error)
    problem = Problem(
        rank=Rank.STOPS_SHOT,
        what="the ledger gives no answer",
        seen=type(error).__name__,
        expected="an answer within a few seconds",
        remedy="Nothing is lost: start the server again, then ask again.",
    )
    headers = {"Retry-After": str(RETRY_AFTER_S)}
    return answer_problem(request.url.path, 503, problem.what, [problem], headers)


def _answer_http(request: Request, error: Exception) -> JSONResponse:
    assert isinstance(error, HTTPException)  # noqa: S101  # registered for this type alone
    words = {
        404: "there is nothing at this address",
        405: f"{request.method} is not something this address can do",
    }
    detail = words.get(error.status_code, str(error.detail))
    headers = dict(error.headers or {})
    if error.status_code == 405:
        headers["Allow"] = ", ".join(_methods_at(request)) or headers.get("Allow", "GET")
    return answer_problem(request.url.path, error.status_code, detail, headers=headers)


def _methods_at(request: Request) -> list[str]:
    """Return every method the address has; the router names those of one route alone."""
    paths: dict[str, dict[str, Any]] = request.app.openapi()["paths"]
    found = set()
    for template, verbs in paths.items():
        if re.fullmatch(re.sub(r"{[^}]*}", "[^/]+", template), request.url.path):
            found |= {verb.upper() for verb in verbs}
    return sorted(found)


def _answer_invalid(request: Request, error: Exception) -> JSONResponse:
    assert isinstance(error, RequestValidationError)  # noqa: S101  # registered for it alone
    kind = request.headers.get("content-type", "")
    problems = unusable_parts(kind, error.body, error.errors())
    return answer_problem(request.url.path, 422, "the request can't be used", problems)


def _answer_fault(request: Request, error: Exception) -> JSONResponse:
    log.error("%s %s failed", request.method, request.url.path, exc_info=error)
    detail = f"a fault of the service itself: {type(error).__name__}; its log holds the details"
    return answer_problem(request.url.path, 500, detail)


def answer_in_one_shape(app: FastAPI) -> None:
    """Make `app` answer all trouble as problem details."""
    app.add_exception_handler(Refusal, _answer_refusal)
    app.add_exception_handler(GlimsumError, _answer_ours)
    app.add_exception_handler(RedisError, _answer_silence)
    app.add_exception_handler(HTTPException, _answer_http)
    app.add_exception_handler(RequestValidationError, _answer_invalid)
    app.add_exception_handler(Exception, _answer_fault)
