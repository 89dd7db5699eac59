"""What a request holds that can't be used, in words: one problem for each value."""

from collections.abc import Sequence
from itertools import groupby
from typing import Any

from glimsum_jobs.problems import Problem, Rank

_JSON = "application/json"
_LONGEST_SEEN = 80
_REMEDY = "The format of every request stands at /openapi.json."


def unusable_parts(content_type: str, body: Any, parts: Sequence[dict[str, Any]]) -> list[Problem]:
    """Return a problem for each value that can't be used.

    Parameters
    ----------
    content_type : str
        Of the request; empty where it had none.
    body : object
        What was parsed of it.
    parts : sequence of dict
        As pydantic tells them; a value that fits none of several kinds comes once for each.
    """
    groups = groupby(parts, lambda part: _place_of(body, part))
    return [_tell(content_type, place, list(group)) for place, group in groups]


def _place_of(body: Any, part: dict[str, Any]) -> tuple[Any, ...]:
    """Return where a value stands, without the kind it was tried as."""
    place, value = tuple(part["loc"]), body
    if part["type"] in {"missing", "json_invalid"} or place[0] != "body":
        return place
    for step in place[1:-1]:
        try:
            value = value[step]
        except (KeyError, IndexError, TypeError):
            return place
    return place[:-1] if len(place) > 1 and value is part["input"] else place


def _tell(content_type: str, place: tuple[Any, ...], parts: Sequence[dict[str, Any]]) -> Problem:
    first = parts[0]
    if first["type"] == "json_invalid":
        told = first.get("ctx", {}).get("error", first["msg"])
        return _problem("the body is no JSON", f"{told}, at byte {place[-1]}", "JSON (RFC 8259)")
    if place == ("body",) and first["type"] != "missing" and _JSON not in content_type:
        seen = f"Content-Type: {content_type}" if content_type else "no Content-Type"
        return _problem("the body is not said to be JSON", seen, f"Content-Type: {_JSON}")
    name = " ".join(part for part in (str(place[0]), ".".join(map(str, place[1:]))) if part)
    return _problem(
        f"{name} can't be used",
        "nothing" if first["type"] == "missing" else str(first.get("input"))[:_LONGEST_SEEN],
        "; or ".join(dict.fromkeys(str(part["msg"]) for part in parts)),
    )


def _problem(what: str, seen: str, expected: str) -> Problem:
    return Problem(rank=Rank.STOPS_SHOT, what=what, seen=seen, expected=expected, remedy=_REMEDY)
