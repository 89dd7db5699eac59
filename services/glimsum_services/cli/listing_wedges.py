"""`glimsum wedges`: the contact sheets that a service keeps of a shot."""

import re
from shlex import quote
from typing import Annotated, Any

import typer

from glimsum_jobs.problems import Place
from glimsum_services.cli.exit_codes import Ending
from glimsum_services.cli.options import DEFAULT_SERVICE, AsJson, Service, WrongUse
from glimsum_services.cli.reaching import reach
from glimsum_services.cli.tables import table_lines
from glimsum_services.cli.telling import say, say_json

SHOT = re.compile(r"[a-z0-9][a-z0-9_-]{0,63}")
HEADING = ("wedge", "of", "state", "frames", "varied", "sheet")


def wedges(
    shot: Annotated[
        str, typer.Argument(metavar="SHOT", help="A shot of the service, without its version.")
    ],
    *,
    service: Service = DEFAULT_SERVICE,
    as_json: AsJson = False,
) -> Ending:
    """List the wedges of a shot that the service keeps, the newest first."""
    if not SHOT.fullmatch(shot):
        raise WrongUse(
            "this is no name of a shot",
            place=Place(field="SHOT"),
            seen=shot or "nothing",
            expected="the shot alone, such as harbour_010: small letters, digits, _ and -",
            remedy="Leave version, wedge and file ending away.",
        )
    with reach(service) as client:
        found = client.wedges(shot)
    if as_json:
        say_json({"wedges": found})
        return Ending.DONE
    if not found:
        say(f"no wedge of {shot} is kept; to make one:")
        say(f"glimsum wedge {shot} FRAME... --vary NAME=VALUES --out sheet.jpg")
        return Ending.DONE
    for line in table_lines(HEADING, [_row(each) for each in found]):
        say(line)
    for each in found:
        if each["reason"]:
            say(f"{each['run']}: {each['reason']}")
    made = [each for each in found if each["wedge"] and each["state"].startswith("done")]
    if made:
        say(f"to take one: glimsum pick {made[0]['run']} CELL")
    return Ending.DONE


def _row(shown: dict[str, Any]) -> tuple[str, ...]:
    from glimsum_jobs.varied import Varied  # noqa: PLC0415  # not needed by `--help`
    from glimsum_services.cli.vary_options import write_varied  # noqa: PLC0415  # the same

    varied = [write_varied(Varied.model_validate(each)) for each in shown["varied"]]
    typed = [f"--vary {quote(each)}" for each in varied]
    sheet = f"{shown['folder']}/{shown['wedge']['sheet']}" if shown["wedge"] else ""
    return (
        shown["run"],
        f"v{shown['version']:03d}",
        shown["state"],
        " ".join(map(str, shown["frames"])),
        " ".join(typed),
        sheet,
    )
