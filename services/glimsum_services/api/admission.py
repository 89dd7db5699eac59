"""Who asks, and whether he may: bearer tokens (RFC 6750) and the cookie of the page."""

from contextvars import ContextVar
from http.cookies import CookieError, SimpleCookie

from starlette.datastructures import Headers

from glimsum_jobs.errors import StoreError
from glimsum_jobs.problems import Problem, Rank
from glimsum_services.api.guards import Asgi, Message, Receive, Send
from glimsum_services.api.pages import PARTS
from glimsum_services.api.problem_details import Refusal, answer_problem, refusal
from glimsum_services.tokens import Scope, Token, Tokens

COOKIE = "glimsum_token"
"""Holds the token of the page: an EventSource sends no headers of its own."""

OPEN = frozenset({*PARTS, "/healthz", "/openapi.json", "/session"})
"""Answered without a token: the page's own parts hold no shot; /session takes one in."""

ASKER: ContextVar[Token | None] = ContextVar("asker", default=None)
"""The token of the request that is being answered."""

REMEDY = "Ask for one where the service runs: it is made with `glimsum token make`."


class Admission:
    """Lets a request in if its token is good for it.

    Parameters
    ----------
    app : ASGI application
        What comes after.
    tokens : Tokens or None
        None: this service listens to its own machine only, and everyone there may ask.
    """

    def __init__(self, app: Asgi, tokens: Tokens | None) -> None:
        self._app = app
        self._tokens = tokens

    async def __call__(self, scope: Message, receive: Receive, send: Send) -> None:
        """Let the request in or answer it with a problem."""
        if scope["type"] != "http" or self._tokens is None or is_open(scope["path"]):
            await self._app(scope, receive, send)
            return
        try:
            token = self._admit(scope, self._tokens)
        except Refusal as no:
            answer = answer_problem(scope["path"], no.status, no.detail, no.problems, no.headers)
            await answer(scope, receive, send)
            return
        except StoreError as error:
            await answer_problem(scope["path"], 503, error.what, [error.problem()])(
                scope, receive, send
            )
            return
        scope.setdefault("asked", {})["token"] = token.id
        kept = ASKER.set(token)
        try:
            await self._app(scope, receive, send)
        finally:
            ASKER.reset(kept)

    def _admit(self, scope: Message, tokens: Tokens) -> Token:
        text = text_of(Headers(scope=scope))
        if text is None:
            raise _unknown("this service asks for a token", "none", 'Bearer realm="glimsum"')
        token = tokens.find(text)
        if token is None:
            challenge = 'Bearer realm="glimsum", error="invalid_token"'
            raise _unknown("this token is not known here", "one that is not valid", challenge)
        need = scope_of(scope["method"], scope["path"])
        if not token.may(need):
            raise _too_small(token, need)
        parts = scope["path"].split("/")
        if need is not Scope.READ and len(parts) > 2 and parts[1] in ("shots", "wedges"):
            keep_to_own(token, [parts[2].partition(".")[0]])  # a wedge is called SHOT.wNNN
        return token


def is_open(path: str) -> bool:
    """Return whether an address is answered without a token."""
    return path in OPEN


def scope_of(method: str, path: str) -> Scope:
    """Return what a token must be good for to make a request."""
    if method in ("GET", "HEAD", "OPTIONS"):
        return Scope.READ
    return Scope.CONTROL if path.endswith(("/control", "/retry")) else Scope.SUBMIT


def text_of(headers: Headers) -> str | None:
    """Return the token a request carries, in Authorization or else in the page's cookie."""
    stated = headers.get("authorization")
    if stated is not None:
        scheme, _, text = stated.partition(" ")
        return text.strip() if scheme.lower() == "bearer" else ""
    try:
        kept = SimpleCookie(headers.get("cookie", "")).get(COOKIE)
    except CookieError:
        return None
    return kept.value if kept else None


def keep_to_own(token: Token | None, shots: list[str]) -> None:
    """Refuse what would change shots the token is not for.

    Raises
    ------
    Refusal
        403, with the first such shot.
    """
    others = [shot for shot in shots if token is not None and not token.may_change(shot)]
    if token is not None and others:
        raise refusal(
            403,
            "this token is not for this shot",
            seen=others[0][:64],
            expected=f"a shot whose name begins with {' or '.join(token.shots)}",
            remedy=REMEDY,
            WWW_Authenticate='Bearer realm="glimsum", error="insufficient_scope"',
        )


def asker_name() -> str:
    """Return the id of the token that asks, empty where none is asked for."""
    token = ASKER.get()
    return token.id if token else ""


def _unknown(what: str, seen: str, challenge: str) -> Refusal:
    problem = Problem(
        rank=Rank.STOPS_SHOT,
        what=what,
        seen=seen,
        expected="Authorization: Bearer ID.SECRET",
        remedy=REMEDY,
    )
    return Refusal(401, what, [problem], {"WWW-Authenticate": challenge})


def _too_small(token: Token, need: Scope) -> Refusal:
    return refusal(
        403,
        "this token is not good for that",
        seen=", ".join(token.scopes),
        expected=str(need),
        remedy=REMEDY,
        WWW_Authenticate=f'Bearer realm="glimsum", error="insufficient_scope", scope="{need}"',
    )
