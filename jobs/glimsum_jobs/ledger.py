"""The port to the ledger: whose item is whose, and what is done."""
# The methods of a protocol are words alone.
# pyright: reportReturnType=false

from collections.abc import Collection, Mapping, Sequence
from typing import Any, Protocol

from glimsum_jobs.standing import (
    ENDED,
    EVERY_STAGE,
    MAX_TRACEBACK_BYTES,
    MAX_TRIES,
    SINGLE_ITEM,
    STAGE_WORDS,
    STAGES,
    Cause,
    Claim,
    Control,
    Counts,
    Failure,
    Finish,
    Holding,
    Hours,
    ItemRecord,
    ItemState,
    Result,
    RunRecord,
    RunState,
    Stage,
    Value,
)

__all__ = [
    "ENDED",
    "EVERY_STAGE",
    "MAX_TRACEBACK_BYTES",
    "MAX_TRIES",
    "SINGLE_ITEM",
    "STAGES",
    "STAGE_WORDS",
    "Cause",
    "Claim",
    "Control",
    "Counts",
    "Failure",
    "Finish",
    "Holding",
    "Hours",
    "ItemRecord",
    "ItemState",
    "Ledger",
    "Result",
    "RunRecord",
    "RunState",
    "Stage",
    "Value",
]


class Ledger(Protocol):
    """What workers and services may ask of the ledger; every call may be repeated safely.

    StoreError means no answer: the outcome is unknown, and the same call may be made again.
    """

    def open(self, run: str, *, priority: int = 50, stage: Stage = STAGES[0]) -> None:
        """Open `run` at a stage with its one item; nothing happens if it is open.

        `priority` goes from 0 to 100; 100 is the most urgent.
        """

    def wedges_wanted(self) -> Sequence[str]:
        """Return the wedges a slot should turn to before its next frame, most urgent first.

        None while one is in a slot's hands; of those that wait the first few.
        """

    def claim(self, worker: str, run: str, stages: Sequence[Stage] = EVERY_STAGE) -> Claim | None:
        """Take a waiting item of the current stage; what came back and expired leases first.

        A worker gets the item after its last one if that waits, so that a clip is decoded once;
        else the first that nobody is on the way to, or the middle of the longest stretch that
        another is on.

        None when nothing waits or nothing is wanted now: paused, cancelled, outside its hours,
        at a stage that is not among `stages`, or a wedge while another is in a slot's hands.
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

    def release_worker(self, worker: str, *, counted: bool = True, why: str = "") -> int:
        """Return all items held by `worker` or any ``worker/...``; answers how many.

        Each counts as a lost process unless `counted` is false (an orderly stop); `why` is
        kept as the message of its failure.
        """

    def holders(self, worker: str) -> Mapping[str, Holding]:
        """Return the workers ``worker/...`` that hold an item now, and what each holds."""

    def tokens(self, run: str) -> Collection[int]:
        """Return the tokens that may still finish an item of `run`."""

    def sweep(self, run: str) -> None:
        """Return the items of `run` whose lease ran out; each counts as a lost process."""

    def pulse(self) -> bool:
        """Tell the ledger that leases are being watched; the dispatcher does it at every tick.

        If nobody did for half a lease (sleep, server away, clock stepped), all leases start
        anew, waits after errors end, no try is counted, and the answer is True.
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
        control: Control | None = None,
        priority: int | None = None,
        hours: Hours | None = None,
    ) -> bool:
        """Say what is wanted of `run`; what is None stays as it is.

        False when it has ended, and nothing changes.
        """

    def hold(self, run: str, why: str) -> None:
        """Hand out no item of `run` until this is called with "", whatever a person wants."""

    def record(self, run: str) -> RunRecord | None:
        """Return the standing of `run`, or None if it was never opened."""

    def open_runs(self) -> list[str]:
        """Return the runs that are not ended, most urgent first."""

    def items(self, run: str, stage: Stage) -> list[ItemRecord]:
        """Return all items of a stage in their order."""

    def result(self, run: str, stage: Stage, item: str) -> dict[str, Any] | None:
        """Return what a finished item left behind."""

    def results(
        self, run: str, items: Sequence[tuple[Stage, str]]
    ) -> Sequence[dict[str, Any] | None]:
        """Return what each of `items`, of any stages, left behind at one moment, in their order.

        None for one that is unknown or not finished.
        """
