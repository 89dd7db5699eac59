"""What the ledger in memory remembers."""

from collections import defaultdict
from dataclasses import dataclass, field
from itertools import pairwise
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
    last: dict[str, tuple[Stage, str]] = field(default_factory=dict)
    """What each worker took last."""

    @property
    def current(self) -> dict[str, Item]:
        return self.stages[self.stage]

    def working(self) -> list[Item]:
        return [item for item in self.current.values() if item.state is ItemState.WORKING]

    def choose(self, worker: str, now: float) -> str | None:
        """Return what `worker` takes next: what came back, what follows its last, a free piece.

        A piece is what waits between two items that are held. Whoever holds the first is on the
        way through it; another begins in its middle, so that both have a long way to go on.
        """
        names, items = list(self.current), list(self.current.values())
        waiting = [n for n, item in enumerate(items) if item.state is ItemState.WAITING]
        due = [n for n in waiting if 0 < items[n].not_before <= now]
        if due:
            return names[min(due, key=lambda n: items[n].not_before)]
        ready = [n for n in waiting if not items[n].not_before]
        stage, item = self.last.get(worker, (None, ""))
        at = names.index(item) if stage is self.stage and item in self.current else -1
        if near := [n for n in ready if n in (at, at + 1)]:
            return names[near[0]]
        held = {n for n, item in enumerate(items) if item.state is ItemState.WORKING}
        pieces: list[list[int]] = []
        for first, after in pairwise(sorted({-1, at, *held, len(names)})):
            piece = [n for n in ready if first <= n < after]
            if piece and first in (-1, at):
                return names[piece[0]]
            pieces.append(piece)
        best = max(pieces, key=len)
        return names[best[len(best) // 2]] if best else None

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
