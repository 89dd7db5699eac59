"""What the exit code of a command says; one table for help, README and scripts."""

from enum import IntEnum

from glimsum_jobs.errors import GlimsumError, JobError, LightError, PathError, SourceError
from glimsum_services.cli.options import WrongUse
from glimsum_services.service_errors import ServiceAway


class Ending(IntEnum):
    """How a command ended."""

    DONE = 0
    REFUSED = 1
    WRONG_USE = 2
    NO_SERVICE = 3
    FAILED = 4
    INTERRUPTED = 130
    READER_GONE = 141


MEANINGS = {
    Ending.DONE: "done",
    Ending.REFUSED: "something was refused, or frames were set aside",
    Ending.WRONG_USE: "wrong use: an option, an argument or a setting",
    Ending.NO_SERVICE: "the service can't be reached",
    Ending.FAILED: "this machine or the service could not do it",
    Ending.INTERRUPTED: "interrupted by Ctrl-C",
    Ending.READER_GONE: "whatever read the output went away",
}
"""Exit codes and what they say."""


def meanings_text() -> str:
    """Return the table as one sentence for the help."""
    return "Exit codes: " + "; ".join(f"{code:d} {words}" for code, words in MEANINGS.items()) + "."


def ending_of(error: GlimsumError) -> Ending:
    """Return the exit code an error leads to."""
    if isinstance(error, ServiceAway):
        return Ending.NO_SERVICE
    if isinstance(error, WrongUse):
        return Ending.WRONG_USE
    if isinstance(error, JobError | SourceError | PathError | LightError):
        return Ending.REFUSED
    return Ending.FAILED
