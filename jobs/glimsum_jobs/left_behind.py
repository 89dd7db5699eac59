"""What a finished item leaves on the disk besides the ledger: one line of a worker's file.

The ledger is the first truth. These lines, beside the masters, are the second: the ledger can be
made again from them, and the night report takes its times from them.
"""

from collections.abc import Iterable
from typing import Any

from pydantic import BaseModel, ConfigDict, Field

from glimsum_jobs.ledger import STAGES, Stage


class LeftBehind(BaseModel):
    """One finished item, as its worker entered it before it told the ledger."""

    model_config = ConfigDict(frozen=True, extra="ignore")

    stage: Stage
    item: str = Field(min_length=1)
    token: int = Field(ge=0, strict=True)
    """Fencing token it was made under; tokens of a run only rise."""
    worker: str
    host: str = ""
    program: str = ""
    pixel_epoch: int = 0
    """What made it: a run is not gone on with by a program that makes other pixels."""
    ended: float
    """Seconds since 1970 UTC by the worker's clock."""
    seconds: float = Field(ge=0)
    """How long it took."""
    result: dict[str, Any]
    """What it left behind in the ledger, plain JSON values."""


def newest_standing(lines: Iterable[LeftBehind]) -> dict[Stage, dict[str, LeftBehind]]:
    """Return the line that counts of each item.

    Parameters
    ----------
    lines : iterable of LeftBehind
        All lines of one run, in any order. An item stands twice where a worker lost its lease
        after it had entered it, or where it was tried again.

    Returns
    -------
    dict
        Of several lines of an item the one of the newest token. What was made before a line of an
        earlier stage that counts was forgotten when that stage was done again, and is left out.
    """
    newest: dict[Stage, dict[str, LeftBehind]] = {stage: {} for stage in STAGES}
    for line in lines:
        known = newest[line.stage].get(line.item)
        if known is None or known.token <= line.token:
            newest[line.stage][line.item] = line
    latest = -1
    for stage in STAGES:
        newest[stage] = {item: line for item, line in newest[stage].items() if line.token > latest}
        latest = max([latest, *(line.token for line in newest[stage].values())])
    return newest
