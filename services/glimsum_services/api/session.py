"""Signing the page in and out: the token goes into a cookie that no script can read."""

from typing import Annotated

from fastapi import APIRouter, Request, Response
from pydantic import Field

from glimsum_services.api.admission import COOKIE, REMEDY
from glimsum_services.api.problem_details import error_answers, refusal
from glimsum_services.api.views import Shown
from glimsum_services.tokens import LONGEST_TEXT, Tokens

router = APIRouter(tags=["service"])

KEPT_S = 30 * 24 * 3600


class SignIn(Shown):
    """A token."""

    token: Annotated[str, Field(min_length=1, max_length=LONGEST_TEXT)]


@router.post("/session", operation_id="sign_in", status_code=204, responses=error_answers())
def sign_in(request: Request, asked: SignIn) -> Response:
    """Keep a token in a cookie, so that the page need not ask for it again for a month."""
    tokens: Tokens | None = request.app.state.tokens
    if tokens is not None and tokens.find(asked.token) is None:
        raise refusal(
            401,
            "this token is not known here",
            seen="one that is not valid",
            expected="ID.SECRET, as it was printed when it was made",
            remedy=REMEDY,
            WWW_Authenticate='Bearer realm="glimsum", error="invalid_token"',
        )
    answer = Response(status_code=204)
    if tokens is not None:
        answer.set_cookie(
            COOKIE,
            asked.token,
            max_age=KEPT_S,
            httponly=True,
            samesite="strict",
            secure=request.url.scheme == "https",
        )
    return answer


@router.delete("/session", operation_id="sign_out", status_code=204, responses=error_answers())
def sign_out() -> Response:
    """Forget the token the page keeps."""
    answer = Response(status_code=204)
    answer.delete_cookie(COOKIE, httponly=True, samesite="strict")
    return answer
