"""Reading the ledger: where each run and each item stands. Nothing here changes anything."""

import json
from collections.abc import Sequence
from typing import Any

import redis

from glimsum_jobs.ledger import (
    EVERY_STAGE,
    STAGE_WORDS,
    Control,
    Counts,
    Failure,
    Holding,
    Hours,
    ItemRecord,
    ItemState,
    RunRecord,
    RunState,
    Stage,
)
from glimsum_services.store.connection import run_together
from glimsum_services.store.keys import Keys

MOST_WEDGES = 8
"""So many wedges a slot is told of between two frames: more than one where some can't be made."""


class Standing:
    """The reading half of the ledger."""

    def __init__(self, client: redis.Redis, keys: Keys, patience_s: float) -> None:
        self._client = client
        self._keys = keys
        self._patience_s = patience_s

    def _read(self, *calls: tuple[Any, ...]) -> list[Any]:
        """Make all `calls` (name, arguments) at one moment and return their answers."""
        return run_together(self._client, calls, self._patience_s)

    def open_runs(self) -> list[str]:
        """Return the runs that are not ended, most urgent first."""
        return [str(run) for run in self._read(("ZRANGE", self._keys.open, 0, -1))[0]]

    def wedges_wanted(self) -> list[str]:
        """Return the wedges a slot should turn to before its next frame, most urgent first."""
        wanted, in_work = self._read(
            ("ZRANGE", self._keys.wedges_wanted, 0, MOST_WEDGES - 1),
            ("GET", self._keys.wedge_in_work),
        )
        return [] if in_work else [str(run) for run in wanted]

    def holders(self, worker: str) -> dict[str, Holding]:
        """Return the workers ``worker/...`` that hold an item now, and what each holds."""
        runs = self.open_runs()
        asked = [
            call
            for run in runs
            for call in (
                ("HGETALL", self._keys.of_run(run)[5]),
                ("HGET", self._keys.of_run(run)[0], "control"),
            )
        ]
        answers = self._read(*asked) if asked else []
        found = {}
        for run, held, control in zip(runs, answers[::2], answers[1::2], strict=True):
            for tag, slot in held.items():
                stage, _, item = tag.partition("/")
                if slot.startswith(f"{worker}/"):
                    found[slot] = Holding(run=run, stage=stage, item=item, control=control)
        return dict(sorted(found.items()))

    def tokens(self, run: str) -> set[int]:
        """Return the tokens that may still finish an item of `run`."""
        return {int(each) for each in self._read(("HVALS", self._keys.of_run(run)[6]))[0]}

    def record(self, run: str) -> RunRecord | None:
        """Return the standing of `run`, or None if it was never opened."""
        keys = self._keys.of_run(run)
        facts, *queues = self._read(
            ("HGETALL", keys[0]), *(("ZCARD", key) for key in (keys[2], keys[3], keys[4]))
        )
        if not facts:
            return None
        current = Stage(facts["stage"])
        control = Control(facts["control"])
        counts = {stage: _count(facts, stage) for stage in EVERY_STAGE if f"total {stage}" in facts}
        if "ended" not in facts:
            moving = {"waiting": queues[0] + queues[1], "working": queues[2]}
            counts[current] = counts[current].model_copy(update=moving)
        return RunRecord(
            run=run,
            state=_state(facts, current, control),
            stage=current,
            control=control,
            priority=int(facts["priority"]),
            revision=int(facts["revision"]),
            counts=counts,
            begun=float(facts["begun"]),
            ended=float(facts["ended"]) if "ended" in facts else None,
            conflicts=int(facts.get("conflicts", 0)),
            reason=facts.get("reason", ""),
            hours=Hours.model_validate_json(facts.get("hours", "{}")),
            waits_for=facts.get("waits", ""),
        )

    def items(self, run: str, stage: Stage) -> list[ItemRecord]:
        """Return all items of a stage in their order."""
        keys = self._keys.of_run(run)
        first = EVERY_STAGE.index(stage) * 2**32
        tags = self._read(("ZRANGEBYSCORE", keys[1], first, f"({first + 2**32}"))[0]
        if not tags:
            return []
        tries = [f"{tag} begun" for tag in tags]
        holders, begun, results, failures, aside = self._read(
            ("HMGET", keys[5], *tags),
            ("HMGET", keys[7], *tries),
            ("HMGET", keys[8], *tags),
            ("HMGET", keys[9], *tags),
            ("SMISMEMBER", keys[10], *tags),
        )
        ends = zip(results, failures, strict=True)
        rows = zip(tags, holders, begun, ends, aside, strict=True)
        return [_item(*row) for row in rows]

    def result(self, run: str, stage: Stage, item: str) -> dict[str, Any] | None:
        """Return what a finished item left behind."""
        return self.results(run, [(stage, item)])[0]

    def results(self, run: str, items: Sequence[tuple[Stage, str]]) -> list[dict[str, Any] | None]:
        """Return what each of `items` left behind, None for one that is not finished."""
        if not items:
            return []
        tags = [f"{stage}/{item}" for stage, item in items]
        kept = self._read(("HMGET", self._keys.of_run(run)[8], *tags))[0]
        return [None if each is None else dict(json.loads(each)["result"]) for each in kept]


def _count(facts: dict[str, str], stage: Stage) -> Counts:
    done, aside = int(facts.get(f"done {stage}", 0)), int(facts.get(f"aside {stage}", 0))
    return Counts(done=done, set_aside=aside, waiting=0, working=0)


def _state(facts: dict[str, str], stage: Stage, control: Control) -> RunState:
    if "ended" in facts:
        return RunState(facts["state"])
    if control is Control.CANCEL:
        return RunState.CANCELLED
    rests = control is Control.PAUSE or facts.get("waits")
    return RunState.PAUSED if rests else STAGE_WORDS[stage]


def _item(
    tag: str, holder: str | None, begun: str | None, ends: tuple[str | None, str | None], aside: int
) -> ItemRecord:
    kept, failure = ends
    record = json.loads(kept) if kept else None
    if record:
        state = ItemState.DONE
    elif aside:
        state = ItemState.SET_ASIDE
    else:
        state = ItemState.WORKING if holder else ItemState.WAITING
    return ItemRecord(
        item=tag.partition("/")[2],
        state=state,
        worker=record["worker"] if record else holder,
        tries=int(begun or 0),
        result=record["result"] if record else None,
        failure=Failure.model_validate_json(failure) if failure else None,
    )
