"""The ledger: whose item is whose, and what is done; states, allowed steps and the port to it.

A *run* is one version of one shot (``mole_040/v003``).
A run goes through stages; a stage holds items; an item is the smallest thing a worker takes.
Shot frames are the items of the stage *combine*, measurements of a pass on a frame are items of
*measure*, and the other stages hold one item each.
"""

from collections.abc import Mapping, Sequence
from enum import StrEnum
from typing import Any, Protocol

from pydantic import BaseModel, ConfigDict

Result = Mapping[str, Any]
"""What an item left behind; plain JSON values only."""


class Stage(StrEnum):
    """The stages of a run, in their order."""

    CHECK = "check"
    MEASURE = "measure"
    SOLVE = "solve"
    COMBINE = "combine"
    FINISH = "finish"


STAGES = tuple(Stage)

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
}
"""The state shown while a stage is at work."""

ENDED = frozenset(
    {RunState.DONE, RunState.DONE_WITH_REMARKS, RunState.CANCELLED, RunState.REFUSED}
)


class Control(StrEnum):
    """What a person wants of a run; a worker hears it at every beat."""

    RUN = "run"
    PAUSE = "pause"
    CANCEL = "cancel"


class Cause(StrEnum):
    """Why an item came back unfinished; each cause has its own bound on tries."""

    ERROR = "error"
    """The work raised an error."""
    PROCESS_LOST = "process lost"
    """The process died or its lease ran out while this item was begun."""
    BAD_SOURCE = "bad source"
    """A source of this item can't be read: trying again can't help, it is set aside at once."""


MAX_TRIES = {Cause.ERROR: 3, Cause.PROCESS_LOST: 3, Cause.BAD_SOURCE: 1}
"""How often an item may come back for a cause before it is set aside."""


class Failure(BaseModel):
    """What is kept of a try that failed."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    cause: Cause
    kind: str
    """Type of the error, for example ``SourceError``."""
    message: str
    traceback: str = ""
    """At most 16 KiB, the end kept."""
    files: tuple[str, ...] = ()
    worker: str = ""
    peak_memory_bytes: int | None = None


class Claim(BaseModel):
    """One item in the hands of one worker process."""

    model_config = ConfigDict(frozen=True, extra="forbid")

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
    DUPLICATE = "duplicate"
    """It was done before with the same result: keep the file that is there."""
    CONFLICT = "conflict"
    """It was done before with another result: the first is kept, this one is counted."""
    REFUSED = "refused"
    """The token is not the newest: somebody else holds the item."""


class Counts(BaseModel):
    """How many items of a stage are in each state."""

    model_config = ConfigDict(frozen=True, extra="forbid")

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


class ItemRecord(BaseModel):
    """Everything the ledger knows of one item."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    item: str
    state: ItemState
    worker: str | None = None
    tries: int = 0
    result: dict[str, Any] | None = None
    failure: Failure | None = None


class RunRecord(BaseModel):
    """The standing of one run."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    run: str
    state: RunState
    stage: Stage
    control: Control
    priority: int
    revision: int
    """Rises with every change; the page and the API use it as their ETag."""
    counts: dict[Stage, Counts]
    begun: float
    """Server time at which the run was opened, seconds since 1970 UTC."""
    ended: float | None
    conflicts: int = 0


class Ledger(Protocol):
    """What workers and services may ask of the ledger; every call may be repeated safely."""

    def open(self, run: str, *, priority: int = 50) -> None:
        """Open `run` at its first stage with its one item; nothing happens if it is open."""

    def claim(self, worker: str, run: str, stages: Sequence[Stage] = STAGES) -> Claim | None:
        """Take the first waiting item of the current stage, or None; expired leases come back first."""

    def beat(self, claim: Claim) -> Control:
        """Extend the lease and hear what is wanted; raises LeaseLost when it is not ours."""

    def done(self, claim: Claim, result: Result) -> Finish:
        """Record a finished item with what it left behind (sets ``digest`` equal or not)."""

    def fail(self, claim: Claim, failure: Failure) -> ItemState:
        """Record a failed try; answers WAITING (it comes back) or SET_ASIDE."""

    def give_back(self, claim: Claim) -> None:
        """Return an unfinished item without counting a try."""

    def release_worker(self, worker_prefix: str) -> int:
        """Return all items held by workers whose name begins so, counting a lost process each."""

    def advance(self, run: str, stage: Stage, after: Stage | None, items: Sequence[str]) -> bool:
        """Move `run` from `stage` (all at their end) to `after` with its `items`, or end it.

        Answers False, and changes nothing, when the run is no longer at `stage` or not at its
        end: somebody else did it, or it is not time yet.
        """

    def set_aside(self, run: str, stage: Stage, item: str, failure: Failure) -> None:
        """Put an item aside before anybody takes it (a dead frame found by the check)."""

    def end(self, run: str, state: RunState) -> None:
        """End `run` in one of the ended states."""

    def control(self, run: str, control: Control, priority: int | None = None) -> None:
        """Say what is wanted of `run`."""

    def record(self, run: str) -> RunRecord | None:
        """Return the standing of `run`, or None if it was never opened."""

    def open_runs(self) -> list[str]:
        """Return the runs that are not ended, most urgent first."""

    def items(self, run: str, stage: Stage) -> list[ItemRecord]:
        """Return all items of a stage in their order."""

    def result(self, run: str, stage: Stage, item: str) -> dict[str, Any] | None:
        """Return what a finished item left behind."""
