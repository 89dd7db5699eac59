"""The program `glimsum`: its commands, and how every one of them ends."""

import os
import sys
import traceback
from collections.abc import Callable
from typing import Any

import typer
from typer.core import TyperCommand

from glimsum_jobs.errors import GlimsumError
from glimsum_services.cli.checking import check
from glimsum_services.cli.comparing import compare
from glimsum_services.cli.controlling import cancel, pause, resume, retry
from glimsum_services.cli.cueing import cues
from glimsum_services.cli.demonstrating import demo
from glimsum_services.cli.drafting import draft
from glimsum_services.cli.exit_codes import Ending, ending_of, meanings_text
from glimsum_services.cli.listing import spaces
from glimsum_services.cli.listing_wedges import wedges
from glimsum_services.cli.measuring import measure
from glimsum_services.cli.picking import pick
from glimsum_services.cli.rebuilding import rebuild
from glimsum_services.cli.reporting import report
from glimsum_services.cli.rerunning import rerun
from glimsum_services.cli.running import up, worker
from glimsum_services.cli.schemas import schema
from glimsum_services.cli.stilling import still
from glimsum_services.cli.submitting import submit
from glimsum_services.cli.telling import say, tell_error
from glimsum_services.cli.tokens import list_all, make, withdraw
from glimsum_services.cli.watching import watch
from glimsum_services.cli.wedging import wedge

COMMANDS: tuple[Callable[..., Any], ...] = (
    demo,
    up,
    worker,
    schema,
    spaces,
    draft,
    check,
    cues,
    measure,
    still,
    wedge,
    wedges,
    pick,
    submit,
    rerun,
    compare,
    watch,
    pause,
    resume,
    cancel,
    retry,
    report,
    rebuild,
)
"""In the order of the help; each answers an `Ending`, or None for done."""


class Command(TyperCommand):
    """A command whose errors end in words and a documented exit code, never in a traceback."""

    def invoke(self, ctx: Any) -> Any:
        """Run the command; `ctx` is the parser's context."""
        as_json = bool(ctx.params.get("as_json"))
        try:
            ending = super().invoke(ctx)
        except GlimsumError as error:
            ending = ending_of(error)
            tell_error(error, int(ending), as_json=as_json)
        except KeyboardInterrupt:
            say("interrupted", to_errors=True)
            ending = Ending.INTERRUPTED
        except BrokenPipeError:
            # What is still to be flushed when the program ends would fail once more.
            sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115, PTH123  # until the end
            ending = Ending.READER_GONE
        except (typer.Exit, typer.Abort, typer.BadParameter):
            raise
        except Exception:
            traceback.print_exc()
            say("this is a fault of the program itself: please report it", to_errors=True)
            ending = Ending.FAILED
        raise typer.Exit(int(ending or Ending.DONE))


def make_app() -> typer.Typer:
    """Return the program."""
    app = typer.Typer(
        name="glimsum",
        help="Combine the lighting passes of miniature shots in linear light.",
        epilog=meanings_text(),
        no_args_is_help=True,
        add_completion=False,
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
    )
    for command in COMMANDS:
        app.command(cls=Command, epilog=meanings_text())(command)
    app.add_typer(_token_app(), name="token")
    return app


def _token_app() -> typer.Typer:
    """Return the commands of `glimsum token`."""
    app = typer.Typer(
        help="Make, list and withdraw the tokens a service asks others for.",
        no_args_is_help=True,
        add_completion=False,
        rich_markup_mode=None,
    )
    for name, command in (("make", make), ("list", list_all), ("withdraw", withdraw)):
        app.command(name, cls=Command, epilog=meanings_text())(command)
    return app


def main() -> None:
    """Run the program with the arguments of this process."""
    make_app()()
