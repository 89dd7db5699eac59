"""What the ledger in memory remembers."""

from collections import defaultdict
from dataclasses import dataclass, field
from typing import Any

from glimsum_jobs.ledger import (
    STAGE_WORDS,
    STAGES,
    Cause,
    Control,
    Counts,
    Failure,
    Hours,
    ItemState,
    RunState,
    Stage,
)


@dataclass
class Item:
    state: ItemState = ItemState.WAITING
    token: int | None = None
    worker: str | None = None
    deadline: float = 0.0
    not_before: float = 0.0
    begun: int = 0
    came_back: dict[Cause, int] = field(default_factory=lambda: defaultdict(int))
    result: dict[str, Any] | None = None
    mark: str = ""
    done_token: int | None = None
    failure: Failure | None = None


@dataclass
class Run:
    priority: int
    begun: float
    stage: Stage = STAGES[0]
    control: Control = Control.RUN
    hours: Hours = field(default_factory=Hours)
    state: RunState | None = None
    ended: float | None = None
    reason: str = ""
    revision: int = 1
    token: int = 0
    conflicts: int = 0
    waits_for: str = ""
    stages: dict[Stage, dict[str, Item]] = field(default_factory=dict)

    @property
    def current(self) -> dict[str, Item]:
        return self.stages[self.stage]

    def working(self) -> list[Item]:
        return [item for item in self.current.values() if item.state is ItemState.WORKING]

    def shown(self) -> RunState:
        if self.control is Control.CANCEL:
            return RunState.CANCELLED
        rests = self.control is Control.PAUSE or self.waits_for
        return RunState.PAUSED if rests else STAGE_WORDS[self.stage]

    def wanted(self, now: float) -> bool:
        if self.control is not Control.RUN or self.waits_for or now < (self.hours.not_before or 0):
            return False
        if self.hours.window is None:
            return True
        first, last = self.hours.window
        minute = int(now // 60) % 1440
        inside = first <= minute <= last
        return inside if first <= last else minute >= first or minute <= last


def is_named(worker: str | None, prefix: str) -> bool:
    return worker is not None and (worker == prefix or worker.startswith(f"{prefix}/"))


def count_states(items: dict[str, Item], run: Run) -> Counts:
    states = [item.state for item in items.values()]
    open_now = run.ended is None
    return Counts(
        waiting=states.count(ItemState.WAITING) if open_now else 0,
        working=states.count(ItemState.WORKING) if open_now else 0,
        done=states.count(ItemState.DONE),
        set_aside=states.count(ItemState.SET_ASIDE),
    )
