"""What the ledger knows and answers: states, allowed steps, frozen values.

A *run* is one version of one shot (``mole_040/v003``), or a wedge of it (``mole_040/w001``). It
goes through stages; a stage holds items; an item is the smallest thing a worker takes: a shot
frame in *combine*, a pass on a frame in *measure*, the whole shot in the others.
"""

from collections.abc import Mapping
from enum import StrEnum
from typing import Annotated, Any

from pydantic import AfterValidator, BaseModel, ConfigDict

Result = Mapping[str, Any]
"""What an item left behind; plain JSON values only."""


class Value(BaseModel):
    """A frozen value of the ledger."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class Stage(StrEnum):
    """The stages of a version, in their order, and the one stage of a wedge."""

    CHECK = "check"
    MEASURE = "measure"
    SOLVE = "solve"
    COMBINE = "combine"
    FINISH = "finish"
    WEDGE = "wedge"


EVERY_STAGE = tuple(Stage)
STAGES = EVERY_STAGE[:-1]
"""The stages of a version."""
SINGLE_ITEM = "shot"
"""Name of the one item of a stage that works on the whole shot."""


class ItemState(StrEnum):
    """What has become of an item."""

    WAITING = "waiting"
    WORKING = "working"
    DONE = "done"
    SET_ASIDE = "set aside"


class RunState(StrEnum):
    """What a run is doing, in the words shown to people."""

    CHECKING = "checking"
    MEASURING = "measuring"
    COMBINING = "combining"
    FINISHING = "finishing"
    DONE = "done"
    DONE_WITH_REMARKS = "done with remarks"
    PAUSED = "paused"
    CANCELLED = "cancelled"
    REFUSED = "refused"


STAGE_WORDS = {
    Stage.CHECK: RunState.CHECKING,
    Stage.MEASURE: RunState.MEASURING,
    Stage.SOLVE: RunState.MEASURING,
    Stage.COMBINE: RunState.COMBINING,
    Stage.FINISH: RunState.FINISHING,
    Stage.WEDGE: RunState.COMBINING,
}
"""The state shown while a stage is at work."""

ENDED = (RunState.DONE, RunState.DONE_WITH_REMARKS, RunState.CANCELLED, RunState.REFUSED)


class Control(StrEnum):
    """What a person wants of a run; a worker hears it at every beat."""

    RUN = "run"
    PAUSE = "pause"
    CANCEL = "cancel"


class Hours(Value):
    """When workers may take items of a run; empty means at any time."""

    not_before: float | None = None
    """Seconds since 1970 UTC by the clock of the ledger's server."""
    window: tuple[int, int] | None = None
    """First and last minute of the day, UTC, 0 to 1439; a window may pass midnight."""
    wall: str = ""
    """The window as it was asked for, by the clock on the wall: ``22:00-06:00``."""
    zone: str = "UTC"
    """IANA name of the time zone of that clock; `window` follows its summer time."""


class Cause(StrEnum):
    """Why an item came back unfinished; each cause has its own bound on tries."""

    ERROR = "error"  # the work raised one
    PROCESS_LOST = "process lost"  # it died, or its lease ran out, with this item begun
    BAD_SOURCE = "bad source"
    """What the item is made of can't be used: trying again can't help, it is set aside at once."""


MAX_TRIES = {Cause.ERROR: 3, Cause.PROCESS_LOST: 3, Cause.BAD_SOURCE: 1}
"""How often an item may come back for a cause before it is set aside."""


MAX_TRACEBACK_BYTES = 16 * 1024


def _end_of(traceback: str) -> str:
    return traceback.encode()[-MAX_TRACEBACK_BYTES:].decode(errors="ignore")


class Failure(Value):
    """What is kept of a try that failed."""

    cause: Cause
    kind: str
    """Type of the error, for example ``SourceError``."""
    message: str
    traceback: Annotated[str, AfterValidator(_end_of)] = ""
    """At most 16 KiB; the end is kept, where the error is named."""
    files: tuple[str, ...] = ()
    worker: str = ""
    peak_memory_bytes: int | None = None


class Holding(Value):
    """What one worker process holds now."""

    run: str
    stage: Stage
    item: str
    control: Control
    """What is wanted of its run."""


class Claim(Value):
    """One item in the hands of one worker process."""

    run: str
    stage: Stage
    item: str
    token: int
    """Fencing token: only the newest token of an item may finish it."""
    worker: str
    tries: int
    """How often the item had been begun before this claim."""
    lease_s: float


class Finish(StrEnum):
    """What the ledger answers to a finished item."""

    RECORDED = "recorded"
    DUPLICATE = "duplicate"  # done before with the same result: keep the file that is there
    CONFLICT = "conflict"
    """It was done before with another result: the first is kept, this one is counted."""
    REFUSED = "refused"
    """The token is not the newest: somebody else holds the item."""


class Counts(Value):
    """How many items of a stage are in each state."""

    waiting: int = 0
    working: int = 0
    done: int = 0
    set_aside: int = 0

    @property
    def total(self) -> int:
        """Return the number of items of the stage."""
        return self.waiting + self.working + self.done + self.set_aside

    @property
    def left(self) -> int:
        """Return how many items are not at their end."""
        return self.waiting + self.working


class ItemRecord(Value):
    """Everything the ledger knows of one item."""

    item: str
    state: ItemState
    worker: str | None = None
    tries: int = 0
    result: dict[str, Any] | None = None
    failure: Failure | None = None


class RunRecord(Value):
    """The standing of one run."""

    run: str
    state: RunState
    stage: Stage
    control: Control
    priority: int
    revision: int
    """Rises with every change; serves as the ETag."""
    counts: dict[Stage, Counts]
    begun: float
    """Seconds since 1970 UTC, server time."""
    ended: float | None
    conflicts: int = 0
    reason: str = ""
    """Why the run was ended early, in words."""
    hours: Hours = Hours()
    waits_for: str = ""
    """What keeps every machine from this run now, such as a full disk; empty: nothing does."""
