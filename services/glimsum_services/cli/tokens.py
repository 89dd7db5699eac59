"""`glimsum token`: who may ask what of a service that others can reach."""

import os
from pathlib import Path
from typing import Annotated

import typer

from glimsum_jobs.problems import Place
from glimsum_services.cli.exit_codes import Ending
from glimsum_services.cli.options import AsJson, StateFolder, WrongUse
from glimsum_services.cli.reaching import read_settings
from glimsum_services.cli.telling import say, say_json
from glimsum_services.tokens import Scope, Token, Tokens

Scopes = Annotated[
    list[Scope] | None,
    typer.Option("--scope", help="What it is good for; several allowed; default: read."),
]


def make(
    name: Annotated[str, typer.Argument(help="Whom or what it is for.")],
    *,
    scope: Scopes = None,
    shots: Annotated[
        list[str] | None,
        typer.Option(
            "--shots",
            metavar="BEGINNING",
            help="Submit and control only shots whose names begin so; several allowed.",
        ),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", help="Write it into this new private file instead of printing it."),
    ] = None,
    state: StateFolder = None,
    as_json: AsJson = False,
) -> None:
    """Make a token and print it, this once; the service keeps no copy."""
    place = None if out is None else _open_private(out)
    token, text = _tokens(state).make(name, scope or [Scope.READ], shots or [])
    if place is not None:
        with os.fdopen(place, "w", encoding="ascii") as file:
            file.write(f"{text}\n")
    told = _told(token) | ({"file": str(out)} if out is not None else {"token": text})
    if as_json:
        say_json(told, one_line=True)
        return
    say(str(out) if out is not None else text)
    say(f"{token.id} for {name}: {', '.join(token.scopes)}", to_errors=True)
    if out is None:
        say("Keep it now: it is shown this once. Use: GLIMSUM_TOKEN_FILE=FILE", to_errors=True)


def list_all(*, state: StateFolder = None, as_json: AsJson = False) -> None:
    """List the tokens, without their secrets."""
    known = _tokens(state).all()
    if as_json:
        say_json({"tokens": [_told(each) for each in known]})
        return
    for each in known:
        limit = f"  shots {', '.join(f'{part}...' for part in each.shots)}" if each.shots else ""
        say(f"{each.id}  {','.join(each.scopes):<20}  {each.made}  {each.name}{limit}")
    if not known:
        say("there is no token; make one with: glimsum token make NAME --scope read")


def withdraw(
    token: Annotated[str, typer.Argument(metavar="ID", help="First part of the token.")],
    *,
    state: StateFolder = None,
    as_json: AsJson = False,
) -> Ending:
    """Withdraw a token: the service refuses it from now on."""
    gone = _tokens(state).withdraw(token.partition(".")[0])
    if as_json:
        say_json({"withdrawn": None if gone is None else gone.id}, one_line=True)
    elif gone is None:
        say("no token has this id; glimsum token list shows them", to_errors=True)
    else:
        say(f"withdrawn: {gone.id} for {gone.name}")
    return Ending.REFUSED if gone is None else Ending.DONE


def _tokens(state: Path | None) -> Tokens:
    folder = None if state is None else state.resolve()
    return Tokens(read_settings(state_folder=folder).state_folder)


def _told(token: Token) -> dict[str, object]:
    return token.model_dump(mode="json", exclude={"secret_digest"})


def _open_private(file: Path) -> int:
    try:
        return os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except OSError as error:
        raise WrongUse(
            "the file for the token can't be made",
            place=Place(field="--out", file=str(file)),
            seen=error.strerror or str(error),
            expected="a file that is not there yet, in a folder that we may write",
            remedy="Name another one, or remove it first.",
        ) from error
