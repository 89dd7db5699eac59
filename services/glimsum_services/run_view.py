"""Where a run stands, as the client of the service sees it."""

from collections.abc import Mapping
from typing import Any

from pydantic import BaseModel, ConfigDict

from glimsum_jobs.ledger import ENDED, RunState, Stage
from glimsum_jobs.orders import run_name


class RunView(BaseModel):
    """One run as the service tells of it."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    run: str
    state: RunState
    stage: str
    done: int
    total: int
    """Frames; 0 while their number is not known."""
    set_aside: int
    frames_a_minute: float | None
    seconds_left: float | None
    """None while unknown."""
    reason: str = ""
    doing: str = ""
    """What the state is called where that says more: a wedge waits or is in work."""
    reused: int | None = None
    """Frames taken over from earlier versions; None before the finish."""

    @property
    def ended(self) -> bool:
        """Return whether nothing more will happen."""
        return self.state in ENDED

    @property
    def whole(self) -> bool:
        """Return whether every frame was made."""
        made = self.state in (RunState.DONE, RunState.DONE_WITH_REMARKS)
        return made and self.set_aside == 0

    def as_json(self) -> dict[str, Any]:
        """Return plain values for machines."""
        return {**self.model_dump(mode="json"), "ended": self.ended}

    @property
    def said(self) -> str:
        """Return the state in words."""
        return self.doing or str(self.state)

    def words(self) -> str:
        """Read as ``5 of 8 frames, 1 set aside, 42 a minute, about 10 s left``."""
        parts = []
        if self.total:
            parts.append(f"{self.done} of {self.total} frames")
        if self.reused:
            parts.append(f"{self.reused} of them taken over")
        if self.set_aside:
            parts.append(f"{self.set_aside} set aside")
        if self.frames_a_minute and not self.ended:
            parts.append(f"{self.frames_a_minute:.3g} a minute")
        if self.seconds_left is not None and not self.ended:
            parts.append(f"about {time_words(self.seconds_left)} left")
        if self.reason:
            parts.append(self.reason)
        return ", ".join(parts)

    def cells(self) -> tuple[str, ...]:
        """Return the cells of a table: run, state, frames, set aside, a minute, time left."""
        frames = f"{self.done} of {self.total}" if self.total else ""
        pace = "" if self.frames_a_minute is None or self.ended else f"{self.frames_a_minute:.3g}"
        left = "" if self.seconds_left is None or self.ended else time_words(self.seconds_left)
        return self.run, self.said, frames, str(self.set_aside or ""), pace, left


def time_words(seconds: float) -> str:
    """Return a time to wait in words, no finer than anybody can know it."""
    if seconds < 90:
        return f"{max(1, round(seconds))} s"
    if seconds < 90 * 60:
        return f"{round(seconds / 60)} min"
    hours, minutes = divmod(round(seconds / 60), 60)
    return f"{hours} h {minutes} min"


def view_of(shown: Mapping[str, Any]) -> RunView:
    """Return the view of a run from what the service shows of a version."""
    progress = shown["progress"]
    return RunView(
        run=run_of(shown),
        state=shown["state"],
        stage=shown["stage"],
        done=progress["frames_done"],
        total=progress["frames_total"],
        set_aside=progress["frames_set_aside"],
        frames_a_minute=progress["frames_a_minute"],
        seconds_left=progress["seconds_left"],
        reused=shown.get("reused"),
        reason=shown.get("reason") or "",
    )


def view_of_wedge(shown: Mapping[str, Any]) -> RunView:
    """Return the view of a wedge's run from what the service shows of it."""
    at_work = shown["state"] in ("waiting", "working")
    return RunView(
        run=shown["run"],
        state=RunState.COMBINING if at_work else shown["state"],
        stage=Stage.WEDGE,
        done=0,
        total=0,
        set_aside=0,
        frames_a_minute=None,
        seconds_left=None,
        reason=shown["reason"],
        doing=shown["state"] if at_work else "",
    )


def run_of(shown: Mapping[str, Any]) -> str:
    """Return the name of the run of what the service shows of a version."""
    return run_name(shown["shot"], shown["version"])
