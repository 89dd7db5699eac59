"""Options that several commands share."""

from pathlib import Path
from typing import Annotated

import typer

from glimsum_jobs.errors import GlimsumError, JobError
from glimsum_jobs.problems import Place, Problem, Rank

DEFAULT_SERVICE = "http://127.0.0.1:8470"

AsJson = Annotated[bool, typer.Option("--json", help="Print JSON for machines instead of words.")]

Service = Annotated[
    str,
    typer.Option("--service", envvar="GLIMSUM_SERVICE", help="Address of the running service."),
]

RootPairs = Annotated[
    list[str] | None,
    typer.Option("--root", metavar="NAME=FOLDER", help="A folder jobs may name; several allowed."),
]

JobFiles = Annotated[
    list[Path],
    typer.Argument(metavar="JOB", help="Job or sequence files, YAML or JSON.", show_default=False),
]

StateFolder = Annotated[
    Path | None,
    typer.Option("--state", help="Folder of ledger and logs; default: GLIMSUM_STATE_FOLDER."),
]

SettingsFile = Annotated[
    Path | None,
    typer.Option("--settings", help="Settings file (TOML); default: GLIMSUM_SETTINGS."),
]

Runs = Annotated[
    list[str] | None,
    typer.Argument(metavar="RUN", help="SHOT or SHOT/vNNN; a shot alone is its newest version."),
]


NotBefore = Annotated[
    str | None,
    typer.Option(
        "--not-before",
        metavar="TIME",
        help="Begin no frame before: 22:30 (the next one), 2027-01-05T22:30+01:00, or always.",
    ),
]
Window = Annotated[
    str | None,
    typer.Option(
        "--window",
        metavar="HOURS",
        help="Begin frames in these hours of each day only: 22:00-06:00, or always. The time zone "
        "is the service's (GLIMSUM_TIME_ZONE).",
    ),
]


class WrongUse(GlimsumError):
    """An option, an argument or a setting that can't be used."""


def read_roots(pairs: list[str] | None) -> dict[str, Path]:
    """Return the roots given as NAME=FOLDER, made absolute.

    Raises
    ------
    WrongUse
        One has another form, stands twice, or its folder is not there.
    """
    roots: dict[str, Path] = {}
    for pair in pairs or []:
        name, equals, folder = pair.partition("=")
        if not name or not equals or not Path(folder).is_dir() or name in roots:
            raise WrongUse(
                "a root can't be used",
                place=Place(field="--root"),
                seen=pair,
                expected="NAME=FOLDER, each name once, the folder there",
                remedy="Write for example --root plates=/mnt/plates.",
            )
        roots[name] = Path(folder).resolve()
    return roots


def wrong_settings(error: JobError) -> WrongUse:
    """Return the first problem of unusable settings as wrong use; the others are named in it."""
    first, *others = error.problems or [Problem(rank=Rank.STOPS_SHOT, what=error.what)]
    more = "".join(f"; also: {problem}" for problem in others)
    return WrongUse(
        f"{error.what}: {first.what}{more}",
        place=first.place,
        seen=first.seen,
        expected=first.expected,
        remedy=first.remedy,
    )
