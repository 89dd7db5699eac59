"""The ledger on a Redis or Valkey server: every change is one script call that may be repeated."""

import json
from collections.abc import Sequence
from hashlib import sha256
from importlib.resources import files
from typing import Any
from uuid import uuid4

import redis

from glimsum_jobs.errors import LeaseLost
from glimsum_jobs.problems import Place
from glimsum_jobs.standing import (
    EVERY_STAGE,
    MAX_TRIES,
    SINGLE_ITEM,
    STAGES,
    Cause,
    Claim,
    Control,
    Failure,
    Finish,
    Hours,
    ItemState,
    Result,
    RunState,
    Stage,
)
from glimsum_services.store.connection import persist, server_name
from glimsum_services.store.keys import Keys
from glimsum_services.store.standing import Standing

PLACES = {stage.value: place for place, stage in enumerate(EVERY_STAGE)}
MOST_LOST = MAX_TRIES[Cause.PROCESS_LOST]
DIED = "the process died with this item in its hands"
SCRIPTS = ("moves.lua", "verbs.lua")
"""One script in two files: what the verbs share, and the verbs."""


class RedisLedger(Standing):
    """The ledger on a server; keeps the promises of `glimsum_jobs.ledger.Ledger`.

    Parameters
    ----------
    client : redis.Redis
        From `glimsum_services.store.connection.connect`.
    lease_s : float
        How long a worker may be silent before its item is given to another.
    back_off_s : float
        Wait after the first error of an item; doubles with each.
    patience_s : float
        How long one call is repeated while there is no answer.
    """

    def __init__(
        self,
        client: redis.Redis,
        *,
        lease_s: float = 20.0,
        back_off_s: float = 2.0,
        patience_s: float = 5.0,
        keys: Keys | None = None,
    ) -> None:
        super().__init__(client, keys or Keys(), patience_s)
        self.lease_s = lease_s
        self.back_off_s = back_off_s
        folder = files("glimsum_services.store")
        texts = [folder.joinpath(name).read_text("utf-8") for name in SCRIPTS]
        self._script = client.register_script("".join(texts))

    def _ask(self, verb: str, run: str, **asked: Any) -> Any:
        asked = {name: value for name, value in asked.items() if value is not None}
        asked |= {"places": PLACES, "lease_s": self.lease_s, "most_lost": MOST_LOST}
        keys, args = self._keys.of_run(run), [verb, run, json.dumps(asked)]
        server = server_name(self._client)
        return persist(lambda: self._script(keys=keys, args=args), self._patience_s, server)

    def _ask_for(self, verb: str, claim: Claim, **asked: Any) -> Any:
        mine = claim.model_dump(include={"stage", "item", "token", "worker"})
        return self._ask(verb, claim.run, **mine, **asked)

    def open(self, run: str, *, priority: int = 50, stage: Stage = STAGES[0]) -> None:
        """Open `run` at a stage with its one item; nothing happens if it is open."""
        self._ask("open", run, priority=priority, stage=stage, item=SINGLE_ITEM)

    def claim(self, worker: str, run: str, stages: Sequence[Stage] = EVERY_STAGE) -> Claim | None:
        """Take a waiting item of the current stage, the one after the last if that waits."""
        request = uuid4().hex
        answer = self._ask("claim", run, worker=worker, stages=list(stages), request=request)
        if answer is None:
            return None
        facts = dict(zip(("stage", "item", "token", "tries"), answer, strict=True))
        return Claim(run=run, worker=worker, lease_s=self.lease_s, **facts)

    def beat(self, claim: Claim) -> Control:
        """Extend the lease and hear what is wanted; raises LeaseLost when it is not ours."""
        answer = self._ask_for("beat", claim)
        if answer is None:
            raise LeaseLost(
                f"{claim.run}, {claim.stage} {claim.item} is no longer this worker's",
                place=Place(shot=claim.run.partition("/")[0]),
                seen=f"token {claim.token} of worker {claim.worker}",
                expected="the newest token of the item",
                remedy="Nothing to do: another worker has it, or the run has ended.",
            )
        return Control(answer)

    def done(self, claim: Claim, result: Result) -> Finish:
        """Record a finished item with what it left behind (sets ``digest`` equal or not)."""
        text = json.dumps(result, sort_keys=True)
        mark = str(result.get("digest") or sha256(text.encode()).hexdigest())
        kept = {"token": claim.token, "mark": mark, "worker": claim.worker, "result": result}
        return Finish(self._ask_for("done", claim, mark=mark, record=json.dumps(kept)))

    def fail(self, claim: Claim, failure: Failure) -> ItemState:
        """Record a failed try; answers WAITING (it comes back) or SET_ASIDE."""
        named = failure.model_copy(update={"worker": failure.worker or claim.worker})
        limits = {"most": MAX_TRIES[failure.cause], "back_off_s": self.back_off_s}
        kept = {"cause": failure.cause, "failure": named.model_dump_json()}
        return ItemState(self._ask_for("fail", claim, **kept, **limits))

    def give_back(self, claim: Claim) -> None:
        """Return an unfinished item without counting a try."""
        self._ask_for("give_back", claim)

    def release_worker(self, worker: str, *, counted: bool = True, why: str = DIED) -> int:
        """Return all items held by `worker` or any ``worker/...``; answers how many."""
        asked = {"worker": worker, "counted": counted, "why": why or DIED}
        return sum(self._ask("release", run, **asked) for run in self.open_runs())

    def sweep(self, run: str) -> None:
        """Return the items of `run` whose lease ran out; each counts as a lost process."""
        self._ask("sweep", run)

    def pulse(self) -> bool:
        """Tell the ledger that leases are being watched; True when all were started anew."""
        if self._ask("pulse", ""):
            return False
        for run in self.open_runs():
            self._ask("renew", run)
        self._ask("pulse", "", renewed=True)  # only now, so that no lease ends in between
        return True

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
        """Move `run` from `stage` (all at their end) to `after` with its `items`, or end it."""
        pairs = [(item, failure.model_dump_json()) for item, failure in aside]
        asked = {"stage": stage, "after": after, "items": list(items), "aside": pairs, "end": end}
        return bool(self._ask("advance", run, **asked))

    def retry(self, run: str, stage: Stage) -> int:
        """Let the set-aside items of `stage` wait again, tries forgotten; answers how many."""
        return int(self._ask("retry", run, stage=stage))

    def end(self, run: str, state: RunState, reason: str = "") -> None:
        """End `run` in one of the ended states; the first end stands."""
        self._ask("end", run, state=state, reason=reason)

    def control(
        self,
        run: str,
        control: Control | None = None,
        priority: int | None = None,
        hours: Hours | None = None,
    ) -> bool:
        """Say what is wanted of `run`; False when it has ended, and nothing changes."""
        kept = hours.model_dump_json(exclude_none=True) if hours else None
        return bool(self._ask("control", run, control=control, priority=priority, hours=kept))

    def hold(self, run: str, why: str) -> None:
        """Hand out no item of `run` until this is called with "", whatever a person wants."""
        self._ask("control", run, waits=why)
