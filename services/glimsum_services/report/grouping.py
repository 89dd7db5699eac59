"""Problems that differ in their numbers alone, told once with all their frames."""

import re
from collections.abc import Iterable, Mapping
from copy import deepcopy
from typing import Any, Self

from glimsum_jobs.frame_ranges import runs_of
from glimsum_services.report.models import Matter

MOST_GROUPS = 60
"""Most different matters kept of one run and stage."""
LONGEST_FRAMES = 200
"""Characters of a list of frames."""

_NUMBER = re.compile(r"\d+")


def frames_words(frames: Iterable[int]) -> str:
    """Return frames as ``1001 to 1004, 1007``, cut at a length that can be read."""
    known = sorted(set(frames))
    words = runs_of(known)
    if len(words) <= LONGEST_FRAMES:
        return words
    kept = words[:LONGEST_FRAMES].rpartition(",")[0]
    return f"{kept} and more, {len(known)} in all"


class Groups:
    """Collects matters; equal but for their numbers they become one.

    The first of each group is told in its own words. Only a bounded number of groups is kept;
    what is beyond is counted.
    """

    def __init__(self, run: str) -> None:
        self._run = run
        self._known: dict[tuple[str, ...], tuple[dict[str, str], set[int]]] = {}
        self.beyond = 0

    def copy(self) -> Self:
        """Return the same groups, to add to."""
        return deepcopy(self)

    def add(self, kind: str, what: str, *, frame: int | None = None, pass_name: str = "",
            seen: str = "", expected: str = "", remedy: str = "") -> None:  # fmt: skip
        """Add one matter."""
        # The frame and what the words count from it differ in a group; the pass does not.
        key = (kind, _NUMBER.sub("#", what), pass_name, _NUMBER.sub("#", seen))
        if key not in self._known:
            if len(self._known) >= MOST_GROUPS:
                self.beyond += 1
                return
            told = {"kind": kind, "what": what, "pass_name": pass_name, "seen": seen}
            self._known[key] = (told | {"expected": expected, "remedy": remedy}, set())
        if frame is not None:
            self._known[key][1].add(frame)

    def add_problem(self, problem: Mapping[str, Any], kind: str) -> None:
        """Add a problem, as stages leave it behind: plain JSON values."""
        place = problem.get("place") or {}
        file = place.get("file")
        what = str(problem.get("what", ""))
        self.add(
            kind,
            f"{what} ({file})" if file else what,
            frame=place.get("frame"),
            pass_name=str(place.get("pass_name") or ""),
            seen=str(problem.get("seen") or ""),
            expected=str(problem.get("expected") or ""),
            remedy=str(problem.get("remedy") or ""),
        )

    def matters(self) -> list[Matter]:
        """Return the groups in the order in which they were first met."""
        return [
            Matter(run=self._run, frames=frames_words(frames), count=len(frames), **told)
            for told, frames in self._known.values()
        ]
