"""The reading half of the ledger in memory."""

from collections.abc import Sequence
from typing import Any

from glimsum_jobs.ledger import Control, Holding, ItemRecord, ItemState, RunRecord, Stage
from support.memory_runs import Run, count_states


class MemoryStanding:
    """Where each run and each item stands."""

    def __init__(self) -> None:
        self.runs: dict[str, Run] = {}

    def wedge_in_work(self) -> bool:
        return any(run.stage is Stage.WEDGE and run.working() for run in self.runs.values())

    def wedges_wanted(self) -> list[str]:
        return (
            []
            if self.wedge_in_work()
            else [
                name
                for name in self.open_runs()
                if self.runs[name].stage is Stage.WEDGE
                and self.runs[name].control is Control.RUN
                and not self.runs[name].waits_for
            ][:8]
        )

    def holders(self, worker: str) -> dict[str, Holding]:
        return {
            item.worker or "": Holding(run=run, stage=of.stage, item=name, control=of.control)
            for run, of in self.runs.items()
            for name, item in of.current.items()
            if item.state is ItemState.WORKING and (item.worker or "").startswith(f"{worker}/")
        }

    def tokens(self, run: str) -> set[int]:
        found = self.runs[run].current.values() if self.runs[run].ended is None else ()
        return {item.token for item in found if item.token is not None}

    def record(self, run: str) -> RunRecord | None:
        found = self.runs.get(run)
        if found is None:
            return None
        return RunRecord(
            run=run,
            state=found.state or found.shown(),
            stage=found.stage,
            control=found.control,
            priority=found.priority,
            revision=found.revision,
            counts={stage: count_states(items, found) for stage, items in found.stages.items()},
            begun=found.begun,
            ended=found.ended,
            conflicts=found.conflicts,
            reason=found.reason,
            hours=found.hours,
            waits_for=found.waits_for,
        )

    def open_runs(self) -> list[str]:
        left = [
            (-run.priority, run.begun, name) for name, run in self.runs.items() if run.ended is None
        ]
        return [name for _, _, name in sorted(left)]

    def items(self, run: str, stage: Stage) -> list[ItemRecord]:
        return [
            ItemRecord(
                item=name,
                state=item.state,
                worker=item.worker,
                tries=item.begun,
                result=item.result,
                failure=item.failure,
            )
            for name, item in self.runs[run].stages.get(stage, {}).items()
        ]

    def result(self, run: str, stage: Stage, item: str) -> dict[str, Any] | None:
        return self.results(run, [(stage, item)])[0]

    def results(self, run: str, items: Sequence[tuple[Stage, str]]) -> list[dict[str, Any] | None]:
        stages = self.runs[run].stages
        known = [stages.get(stage, {}).get(item) for stage, item in items]
        return [each.result if each else None for each in known]
