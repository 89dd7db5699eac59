"""`glimsum report`: what happened in the night, and what to do first."""

import re
from datetime import UTC, datetime, timedelta
from typing import Annotated, Any

import typer

from glimsum_jobs.problems import Place
from glimsum_services.cli.exit_codes import Ending
from glimsum_services.cli.options import DEFAULT_SERVICE, AsJson, Service, WrongUse
from glimsum_services.cli.reaching import reach
from glimsum_services.cli.report_words import report_lines
from glimsum_services.cli.telling import say, say_json

Name = Annotated[
    str | None,
    typer.Argument(
        metavar="NAME", help="A shot (its newest version), SHOT/vNNN, or a sequence.",
        show_default=False,
    ),
]  # fmt: skip
Since = Annotated[
    str | None,
    typer.Option(
        "--since",
        metavar="TIME",
        help="How far back: 12h, 3d, or a time as 2027-01-05T22:00+01:00. Default: 24h; with a "
        "name: its whole time.",
    ),
]

MOST_ASKED = 30
"""The service reads a bounded time for each answer; a million frames take a few."""
UNITS = {"m": "minutes", "h": "hours", "d": "days", "w": "weeks"}


def report(
    name: Name = None,
    *,
    since: Since = None,
    service: Service = DEFAULT_SERVICE,
    as_json: AsJson = False,
) -> Ending:
    """Tell what happened: what to do first, then each shot, machines, and hours without work."""
    asked = {} if name is None else {"name": name}
    if since is not None:
        asked["since"] = read_since(since).isoformat()
    with reach(service) as client:
        told: dict[str, Any] = client.ask("GET", "/report", params=asked)
        for _ in range(MOST_ASKED):
            if not told["unread"]:
                break
            told = client.ask("GET", "/report", params=asked)
    if as_json:
        say_json(told)
    else:
        for line in report_lines(told):
            say(line)
    totals = told["totals"]
    well = not (totals["refused"] or totals["set_aside"])
    return Ending.DONE if well else Ending.REFUSED


def read_since(text: str) -> datetime:
    """Return the time that ``12h``, ``3d`` or an RFC 3339 time means.

    Raises
    ------
    WrongUse
        It means none; a time without its offset from UTC would mean another one elsewhere.
    """
    ago = re.fullmatch(r"(\d{1,5})([mhdw])", text.strip())
    if ago is not None:
        return datetime.now(UTC) - timedelta(**{UNITS[ago[2]]: int(ago[1])})
    try:
        found = datetime.fromisoformat(text.strip())
    except ValueError:
        found = None
    if found is None or found.tzinfo is None:
        raise WrongUse(
            "this is no time",
            place=Place(field="--since"),
            seen=text,
            expected="12h, 3d, or a time with its offset from UTC: 2027-01-05T22:00+01:00",
            remedy="Write for example --since 12h.",
        )
    return found
