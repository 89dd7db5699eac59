"""A run as it stood, told from what it left on the disk: what the ledger is made again from."""

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from typing import Any

from pydantic import BaseModel, ConfigDict

from glimsum_jobs.ledger import (
    SINGLE_ITEM,
    STAGES,
    Cause,
    Control,
    Failure,
    Hours,
    ItemRecord,
    ItemState,
    RunState,
    Stage,
)
from glimsum_jobs.left_behind import LeftBehind, newest_standing
from glimsum_jobs.orders import RunOrder
from glimsum_jobs.plan import next_stage
from glimsum_jobs.problems import Problem, Rank

NOT_KEPT = "it was set aside before the ledger was lost; its reason was not kept"


class Wishes(BaseModel):
    """What a person wants of a run, as it is kept beside its job."""

    model_config = ConfigDict(frozen=True, extra="ignore")

    control: Control = Control.RUN
    priority: int = 50
    hours: Hours = Hours()
    at: float | None = None
    """When it was last said, seconds since 1970 UTC."""


class RestoredRun(BaseModel):
    """Everything the ledger has to know of a run."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    run: str
    stages: dict[Stage, tuple[ItemRecord, ...]]
    """Items of every stage reached, in their order; the last stage is the one it stands at."""
    begun: float
    ended: float | None
    state: RunState | None
    """How it ended; None while it has not."""
    wishes: Wishes
    damaged: tuple[str, ...]
    """Frames that were done and whose master is no longer the one that was written."""

    @property
    def stage(self) -> Stage:
        """Return the stage the run stands at."""
        return list(self.stages)[-1]

    def count(self, stage: Stage, state: ItemState) -> int:
        """Return how many items of a stage are in a state."""
        return sum(item.state is state for item in self.stages.get(stage, ()))


def restore_run(
    order: RunOrder,
    lines: Sequence[LeftBehind],
    is_whole: Callable[[Mapping[str, Any]], bool],
    wishes: Wishes | None = None,
) -> RestoredRun:
    """Return a run as far as its lines tell how it stood.

    Parameters
    ----------
    order : RunOrder
        The version.
    lines : sequence of LeftBehind
        Everything its workers entered, in any order.
    is_whole : callable
        Tells from the result of a frame whether its master is there as it was written.
    wishes : Wishes, optional
        What was wanted of it.

    Returns
    -------
    RestoredRun
        What is done stays done. What waited, was being worked on, or was set aside while its
        stage went on waits; what was set aside in a stage that was left stays set aside.

    Raises
    ------
    pydantic.ValidationError
        A result is not one of this program.
    """
    wished = wishes or Wishes()
    known = newest_standing(lines)
    whole = [each for each in lines if each.stage is not Stage.COMBINE or is_whole(each.result)]
    standing = newest_standing(whole)
    damaged = tuple(sorted(known[Stage.COMBINE].keys() - standing[Stage.COMBINE].keys(), key=int))
    stages, state = _walk(order, standing, set(damaged))
    last = max((line.ended for line in lines), default=wished.at)
    begun = datetime.fromisoformat(order.made).timestamp()
    if state is None and wished.control is Control.CANCEL:
        state, last = RunState.CANCELLED, wished.at or last
    return RestoredRun(
        run=order.run,
        stages=stages,
        begun=begun,
        ended=None if state is None else max(last or begun, begun),
        state=state,
        wishes=wished,
        damaged=damaged,
    )


Standing = Mapping[Stage, Mapping[str, LeftBehind]]


def _walk(
    order: RunOrder, standing: Standing, damaged: set[str]
) -> tuple[dict[Stage, tuple[ItemRecord, ...]], RunState | None]:
    """Pass every barrier that was passed, as the dispatcher did."""
    reasons = _reasons(standing)
    stages: dict[Stage, tuple[ItemRecord, ...]] = {}
    stage = STAGES[0]
    items: tuple[str, ...] = (SINGLE_ITEM,)
    aside: dict[str, Failure] = {}
    while True:
        passed = any(standing[later] for later in STAGES[STAGES.index(stage) + 1 :])
        given_up = passed and items != (SINGLE_ITEM,)
        stages[stage] = tuple(
            _item(item, standing[stage].get(item), aside.get(item), reasons.get(item, NOT_KEPT))
            if item not in damaged and (given_up or item in aside or item in standing[stage])
            else ItemRecord(item=item, state=ItemState.WAITING)
            for item in dict.fromkeys([*items, *aside])
        )
        if any(item.state is ItemState.WAITING for item in stages[stage]):
            return stages, None
        step = next_stage(order, stage, lambda of: list(stages.get(of, ())))
        if step.stage is None:
            return stages, step.end
        stage, items, aside = step.stage, tuple(step.items), dict(step.set_aside)


def _item(item: str, line: LeftBehind | None, aside: Failure | None, reason: str) -> ItemRecord:
    if line is not None:
        return ItemRecord(
            item=item, state=ItemState.DONE, worker=line.worker, tries=1, result=line.result
        )
    failure = aside or Failure(cause=Cause.ERROR, kind="SetAside", message=reason)
    return ItemRecord(item=item, state=ItemState.SET_ASIDE, failure=failure)


def _reasons(standing: Standing) -> dict[str, str]:
    """Return why frames were set aside, as the finish has it; empty before."""
    finish = standing[Stage.FINISH].get(SINGLE_ITEM)
    found = [] if finish is None else finish.result.get("remarks", [])
    problems = [Problem.model_validate(each) for each in found]
    return {
        str(each.place.frame): each.seen or str(each)
        for each in problems
        if each.rank is Rank.STOPS_FRAME and each.place.frame is not None
    }
