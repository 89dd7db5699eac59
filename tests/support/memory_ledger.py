"""The ledger in memory: the same promises as the one on a server, in plain Python, one process."""

import json
from collections.abc import Callable, Sequence

from glimsum_jobs.errors import LeaseLost
from glimsum_jobs.ledger import (
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
from support.memory_runs import Item, Run, is_named
from support.memory_standing import MemoryStanding

DIED = "the process died with this item in its hands"


class MemoryLedger(MemoryStanding):
    """Keeps the promises of `glimsum_jobs.ledger.Ledger`; `clock` gives seconds since 1970."""

    def __init__(
        self, clock: Callable[[], float], *, lease_s: float = 20.0, back_off_s: float = 2.0
    ) -> None:
        self.clock = clock
        self.lease_s = lease_s
        self.back_off_s = back_off_s
        super().__init__()
        self.watched: float | None = None

    def open(self, run: str, *, priority: int = 50, stage: Stage = STAGES[0]) -> None:
        if run not in self.runs:
            opened = Run(priority, self.clock(), stage)
            opened.stages[stage] = {SINGLE_ITEM: Item()}
            self.runs[run] = opened

    def _come_back(self, run: Run, item: Item, failure: Failure, wait_s: float = 0) -> ItemState:
        item.came_back[failure.cause] += 1
        item.failure, item.worker = failure, None
        item.state = ItemState.WAITING
        item.not_before = self.clock() + wait_s * 2 ** (item.came_back[failure.cause] - 1)
        if item.came_back[failure.cause] >= MAX_TRIES[failure.cause]:
            item.state, item.token = ItemState.SET_ASIDE, None
        run.revision += 1
        return item.state

    def _lose(self, run: Run, item: Item, why: str = "lost") -> None:
        worker = item.worker or ""
        lost = Failure(cause=Cause.PROCESS_LOST, kind="ProcessLost", message=why, worker=worker)
        self._come_back(run, item, lost)

    def _settle(self, run: Run) -> None:
        if run.control is Control.CANCEL and not run.working():
            self._finish(run, RunState.CANCELLED)

    def _finish(self, run: Run, state: RunState, reason: str = "") -> None:
        if run.ended is None:
            run.state, run.ended, run.reason = state, self.clock(), reason
            run.revision += 1
            for item in run.current.values():
                item.token = None

    def sweep(self, run: str) -> None:
        now, found = self.clock(), self.runs[run]
        if self.watched is not None and now - self.watched > self.lease_s / 2:
            return
        for item in found.working():
            if item.deadline <= now:
                self._lose(found, item)
        self._settle(found)

    def claim(self, worker: str, run: str, stages: Sequence[Stage] = EVERY_STAGE) -> Claim | None:
        found = self.runs.get(run)
        if found is None or found.ended is not None:
            return None
        self.sweep(run)
        now = self.clock()
        if found not in self._open() or found.stage not in stages or not found.wanted(now):
            return None
        if found.stage is Stage.WEDGE and self.wedge_in_work():
            return None
        name = found.choose(worker, now)
        if name is None:
            return None
        item = found.current[name]
        found.last[worker] = (found.stage, name)
        found.token += 1
        found.revision += 1
        item.state, item.worker, item.token = ItemState.WORKING, worker, found.token
        item.deadline, item.not_before = now + self.lease_s, 0
        item.begun += 1
        return Claim(
            run=run,
            stage=found.stage,
            item=name,
            token=found.token,
            worker=worker,
            tries=item.begun - 1,
            lease_s=self.lease_s,
        )

    def _open(self) -> list[Run]:
        return [run for run in self.runs.values() if run.ended is None]

    def _find(self, claim: Claim) -> tuple[Run, Item]:
        run = self.runs[claim.run]
        return run, run.stages.get(claim.stage, {}).get(claim.item, Item())

    def beat(self, claim: Claim) -> Control:
        run, item = self._find(claim)
        if item.token != claim.token or run.ended is not None:
            raise LeaseLost("not ours", seen=str(claim.token), expected=str(item.token))
        item.state, item.worker = ItemState.WORKING, claim.worker
        item.deadline = self.clock() + self.lease_s
        return run.control

    def done(self, claim: Claim, result: Result) -> Finish:
        run, item = self._find(claim)
        mark = str(result.get("digest") or json.dumps(result, sort_keys=True))
        if item.result is not None:
            if item.mark != mark:
                run.conflicts += 1
                return Finish.CONFLICT
            same = item.done_token == claim.token
            return Finish.RECORDED if same else Finish.DUPLICATE
        if item.token != claim.token or run.ended is not None:
            return Finish.REFUSED
        item.state, item.worker, item.token = ItemState.DONE, claim.worker, None
        item.result, item.mark, item.done_token = dict(result), mark, claim.token
        run.revision += 1
        self._settle(run)
        return Finish.RECORDED

    def _holds(self, item: Item, claim: Claim) -> bool:
        return item.token == claim.token and item.state is ItemState.WORKING

    def fail(self, claim: Claim, failure: Failure) -> ItemState:
        run, item = self._find(claim)
        if self._holds(item, claim):
            item.token = None
            wait_s = self.back_off_s
            self._come_back(run, item, failure.model_copy(update={"worker": claim.worker}), wait_s)
            self._settle(run)
        return item.state

    def give_back(self, claim: Claim) -> None:
        run, item = self._find(claim)
        if self._holds(item, claim):
            item.state, item.worker, item.token = ItemState.WAITING, None, None
            item.begun -= 1
            self._settle(run)

    def release_worker(
        self,
        worker: str,
        *,
        counted: bool = True,
        why: str = DIED,
    ) -> int:
        count = 0
        for run in self._open():
            for item in run.working():
                if is_named(item.worker, worker):
                    count += 1
                    if counted:
                        self._lose(run, item, why)
                    else:
                        item.state, item.worker = ItemState.WAITING, None
                        item.begun -= 1
            self._settle(run)
        return count

    def pulse(self) -> bool:
        now = self.clock()
        stale = self.watched is not None and abs(now - self.watched) > self.lease_s / 2
        self.watched = now
        for run in self.runs.values() if stale else ():
            for item in run.current.values():
                item.deadline, item.not_before = now + self.lease_s, 0
        return stale

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
        found = self.runs[run]
        left = {ItemState.WAITING, ItemState.WORKING} & {i.state for i in found.current.values()}
        if found.ended is not None or found.stage is not stage or left:
            return False
        if after is None:
            everything = [i for of in found.stages.values() for i in of.values()]
            remarks = any(i.state is ItemState.SET_ASIDE for i in everything)
            self._finish(found, end or (RunState.DONE_WITH_REMARKS if remarks else RunState.DONE))
            return True
        found.stage = after
        found.stages[after] = {name: Item() for name in items}
        for name, failure in aside:
            found.current[name] = Item(state=ItemState.SET_ASIDE, failure=failure)
        found.revision += 1
        return True

    def set_aside(self, run: str, stage: Stage, item: str, failure: Failure) -> None:
        found = self.runs[run]
        known = found.stages.get(stage, {}).get(item)
        if known and found.stage is stage and known.state is not ItemState.DONE:
            known.state, known.token, known.failure = ItemState.SET_ASIDE, None, failure

    def retry(self, run: str, stage: Stage) -> int:
        found = self.runs[run]
        aside = [
            name
            for name, item in found.stages.get(stage, {}).items()
            if item.state is ItemState.SET_ASIDE
        ]
        if not aside or found.state in {RunState.CANCELLED, RunState.REFUSED}:
            return 0
        found.stages[stage] |= {name: Item() for name in aside}
        found.stages = {
            s: i for s, i in found.stages.items() if STAGES.index(s) <= STAGES.index(stage)
        }
        found.stage, found.state, found.ended, found.reason = stage, None, None, ""
        return len(aside)

    def end(self, run: str, state: RunState, reason: str = "") -> None:
        self._finish(self.runs[run], state, reason)

    def hold(self, run: str, why: str) -> None:
        self.runs[run].waits_for = why
        self.runs[run].revision += 1

    def control(
        self,
        run: str,
        control: Control | None = None,
        priority: int | None = None,
        hours: Hours | None = None,
    ) -> bool:
        found = self.runs.get(run)
        if found is None or found.ended is not None:
            return False
        found.control = control or found.control
        found.priority = found.priority if priority is None else priority
        found.hours = hours or found.hours
        found.revision += 1
        self._settle(found)
        return True
