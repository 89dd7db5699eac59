"""The ledger: whose item is whose, and what is done; states, allowed steps and the port to it.

A *run* is one version of one shot (``mole_040/v003``). It goes through stages; a stage holds
items; an item is the smallest thing a worker takes: a shot frame in *combine*, a pass on a
frame in *measure*, the whole shot in the others.
"""
# The methods of a protocol are words alone.
# pyright: reportReturnType=false

from collections.abc import Mapping, Sequence
from enum import StrEnum
from typing import Any, Protocol

from pydantic import BaseModel, ConfigDict

Result = Mapping[str, Any]
"""What an item left behind; plain JSON values only."""


class Value(BaseModel):
    """A frozen value of the ledger."""

    model_config = ConfigDict(frozen=True, extra="forbid")


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


class Cause(StrEnum):
    """Why an item came back unfinished; each cause has its own bound on tries."""

    ERROR = "error"  # the work raised one
    PROCESS_LOST = "process lost"  # it died, or its lease ran out, with this item begun
    BAD_SOURCE = "bad source"
    """What the item is made of can't be used: trying again can't help, it is set aside at once."""


MAX_TRIES = {Cause.ERROR: 3, Cause.PROCESS_LOST: 3, Cause.BAD_SOURCE: 1}
"""How often an item may come back for a cause before it is set aside."""


class Failure(Value):
    """What is kept of a try that failed."""

    cause: Cause
    kind: str
    """Type of the error, for example ``SourceError``."""
    message: str
    traceback: str = ""  # at most 16 KiB, the end kept
    files: tuple[str, ...] = ()
    worker: str = ""
    peak_memory_bytes: int | None = None


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


class Ledger(Protocol):
    """What workers and services may ask of the ledger; every call may be repeated safely.

    StoreError means no answer: the outcome is unknown, and the same call may be made again.
    """

    def open(self, run: str, *, priority: int = 50) -> None:
        """Open `run` at its first stage with its one item; nothing happens if it is open.

        `priority` goes from 0 to 100; 100 is the most urgent.
        """

    def claim(self, worker: str, run: str, stages: Sequence[Stage] = STAGES) -> Claim | None:
        """Take the first waiting item of the current stage; expired leases come back first.

        None when nothing waits or nothing is wanted now: paused, cancelled, outside its hours,
        or at a stage that is not among `stages`.
        """

    def beat(self, claim: Claim) -> Control:
        """Extend the lease and hear what is wanted; raises LeaseLost when it is not ours."""

    def done(self, claim: Claim, result: Result) -> Finish:
        """Record a finished item with what it left behind (sets ``digest`` equal or not).

        A lease that ran out does no harm as long as nobody else has taken the item since.
        """

    def fail(self, claim: Claim, failure: Failure) -> ItemState:
        """Record a failed try; answers WAITING (it comes back) or SET_ASIDE.

        When the item is no longer ours nothing changes, and its state is the answer.
        """

    def give_back(self, claim: Claim) -> None:
        """Return an unfinished item without counting a try."""

    def release_worker(self, worker: str, *, counted: bool = True) -> int:
        """Return all items held by `worker` or any ``worker/...``; answers how many.

        Each counts as a lost process unless `counted` is false (an orderly stop).
        """

    def holders(self, worker: str) -> list[str]:
        """Return the workers ``worker/...`` that hold an item now."""

    def sweep(self, run: str) -> int:
        """Return the items of `run` whose lease ran out; each counts as a lost process."""

    def pulse(self) -> bool:
        """Tell the ledger that leases are being watched; the dispatcher does it at every tick.

        If nobody did for half a lease (sleep, server away, clock stepped), all leases start
        anew, no try is counted, and the answer is True.
        """

    def advance(
        self,
        run: str,
        stage: Stage,
        after: Stage | None,
        items: Sequence[str],
        *,
        aside: Sequence[tuple[str, Failure]] = (),
        end: RunState | None = None,
    ) -> bool:
        """Move `run` from `stage` (all at their end) to `after` with its `items`, or end it.

        Items in `aside` are set aside at once (dead frames found by the check).
        With `after` None the run ends as `end`, or as done, with remarks if any item is aside.
        Answers False, and changes nothing, when `stage` is not at its end or already left.
        """

    def set_aside(self, run: str, stage: Stage, item: str, failure: Failure) -> None:
        """Put an item of the current stage aside, whoever holds it; a done one stays done."""

    def retry(self, run: str, stage: Stage) -> int:
        """Let the set-aside items of `stage` wait again, tries forgotten; answers how many.

        The run goes back to `stage`, and later stages are forgotten and done again.
        A cancelled or refused run stays as it is.
        """

    def end(self, run: str, state: RunState, reason: str = "") -> None:
        """End `run` in one of the ended states; the first end stands."""

    def control(
        self,
        run: str,
        control: Control,
        priority: int | None = None,
        hours: Hours | None = None,
    ) -> bool:
        """Say what is wanted of `run`; False when it has ended, and nothing changes."""

    def record(self, run: str) -> RunRecord | None:
        """Return the standing of `run`, or None if it was never opened."""

    def open_runs(self) -> list[str]:
        """Return the runs that are not ended, most urgent first."""

    def items(self, run: str, stage: Stage) -> list[ItemRecord]:
        """Return all items of a stage in their order."""

    def result(self, run: str, stage: Stage, item: str) -> dict[str, Any] | None:
        """Return what a finished item left behind."""
