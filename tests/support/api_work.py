"""What the workers would tell the ledger, for tests of the service alone."""

import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from glimsum_jobs.ledger import Cause, Claim, Failure, Ledger, Stage
from glimsum_services.settings import Settings

SHOT: dict[str, Any] = {
    "glimsum": 1,
    "shot": "mole_040",
    "rate": 24,
    "camera": "locked",
    "frames": {"first": 1001, "last": 1012},
    "handles": {"head": 2, "tail": 2},
    "passes": {
        "beauty": {
            "files": "plates:beauty/beauty.%04d.png",
            "space": "srgb_rec709_scene",
            "exposure": {"stops": 0},
            "align": "none",
        },
        "haze": {
            "files": "plates:haze/haze.%04d.png",
            "space": "srgb_rec709_scene",
            "exposure": {"stops": 1},
            "align": "none",
        },
    },
    "output": "out:mole_040",
}
"""A small job with rooted paths."""


def settings_for(url: str, folder: Path, **given: Any) -> Settings:
    """Return settings of a service that works in `folder`."""
    return Settings(
        state_folder=folder,
        broker=url,
        roots={"plates": folder / "plates", "out": folder / "out"},
        tick_s=0.05,
        **given,
    )


def wait_for(what: Callable[[], bool], seconds: float = 10.0) -> None:
    """Return as soon as `what` holds; fail after `seconds`."""
    deadline = time.monotonic() + seconds
    while not what():
        if time.monotonic() > deadline:
            raise AssertionError(f"not within {seconds} s: {what}")
        time.sleep(0.02)


class Work:
    """Claims items and finishes them, as a worker does, without making pictures."""

    def __init__(self, ledger: Ledger, out: Path) -> None:
        self.ledger = ledger
        self.out = out

    def claim(self, run: str, stage: Stage) -> Claim:
        """Return the next item of `stage`, waiting for the barrier to be passed."""
        found: list[Claim] = []

        def try_it() -> bool:
            claim = self.ledger.claim("test/1", run, (stage,))
            if claim is not None:
                found.append(claim)
            return bool(found)

        wait_for(try_it)
        return found[0]

    def check(self, run: str, problems: list[dict[str, Any]] | None = None) -> None:
        """Finish the check."""
        result = {
            "passes": {},
            "mattes": {},
            "problems": problems or [],
            "needed_bytes": 1,
            "free_bytes": 2,
        }
        self.ledger.done(self.claim(run, Stage.CHECK), result)

    def solve(self, run: str) -> None:
        """Finish solving."""
        result = {"averages": {}, "levels": {}, "problems": [], "revision": "0" * 64}
        self.ledger.done(self.claim(run, Stage.SOLVE), result)

    def combine(self, run: str, preview: bytes = b"", seconds: float = 2.0) -> int:
        """Finish the next frame and return its number."""
        claim = self.claim(run, Stage.COMBINE)
        name = f"mole_040_v001.{claim.item}.jpg"
        if preview:
            path = self.out.joinpath(*run.split("/")) / "preview" / name
            path.parent.mkdir(exist_ok=True)
            path.write_bytes(preview)
        result = {
            "frame": int(claim.item),
            "digest": "ab",
            "preview": name if preview else "",
            "seconds": seconds,
        }
        self.ledger.done(claim, result)
        return int(claim.item)

    def lose(self, run: str, reason: str) -> int:
        """Set the next frame aside for a source that can't be read; return its number."""
        claim = self.claim(run, Stage.COMBINE)
        self.ledger.fail(claim, Failure(cause=Cause.BAD_SOURCE, kind="SourceError", message=reason))
        return int(claim.item)

    def finish(
        self, run: str, remarks: list[dict[str, Any]] | None = None, movie: bytes = b""
    ) -> None:
        """Finish the shot."""
        claim = self.claim(run, Stage.FINISH)
        if movie:
            path = self.out.joinpath(*run.split("/")) / "viewing" / "m.mp4"
            path.parent.mkdir(exist_ok=True)
            path.write_bytes(movie)
        name = "viewing/m.mp4" if movie else None
        self.ledger.done(claim, {"remarks": remarks or [], "movie": name})
