"""Which offsets are tried on which frames, so that few pictures tell where a pass starts."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from glimsum_workers.engine.sync.offset import Offset, choose_offset, telling_frames
from glimsum_workers.engine.sync.pace import (
    MOST_APART,
    Break,
    Pace,
    find_breaks,
    find_pace,
    place_frames,
)

Score = Callable[[int, int, bool], float]
"""(frame, offset, whole) -> what pass and reference share; NaN where one has no file. Not whole:
at a smaller size, for a first look."""

_FEW = 5
"""So many offsets are all looked at closely; of more, these are chosen by a first look."""
_CLOSE_BY = 2
"""Offsets to either side of the chosen one that are looked at on every frame."""
_MOST_FRAMES = 9
_WIDEST = 10
"""Frames by which the offsets of a pass may differ for the place of a break to be looked for."""


@dataclass(frozen=True)
class Found:
    """Where a pass starts, and how it ran.

    Attributes
    ----------
    offset : Offset
        The start offset, and whether it is certain.
    pace : Pace or None
        None where the offset is not certain or too few frames tell.
    breaks : tuple of Break
        Frames missing or there twice.
    frames : tuple of int
        Frames that were compared, rising.
    scores : dict of int to tuple of float
        By offset, for each of `frames`; NaN where there is no file or none was looked at.
    """

    offset: Offset
    pace: Pace | None
    breaks: tuple[Break, ...]
    frames: tuple[int, ...]
    scores: dict[int, tuple[float, ...]]


def search_offset(
    lit: Sequence[int], likely: Sequence[int], possible: Sequence[int], score: Score
) -> Found:
    """Find where a pass starts.

    Parameters
    ----------
    lit : sequence of int
        Frames of the shot on which the lamp burns and the reference has a file, rising; at least
        one.
    likely : sequence of int
        Offsets, rising, at which the pass would cover the shot; at least one.
    possible : sequence of int
        Offsets, rising and evenly spaced by 1, that may be tried; `likely` among them.
    score : callable
        Told what to compare, answers how much is shared.

    Returns
    -------
    Found
        The answer of `offset.choose_offset`; its scores of a first look are scaled to the others.

    Notes
    -----
    A first look on a middle frame, at a smaller size, leaves the five best offsets; they and their
    neighbours are compared on the second, the middle and the last frame but one (so that a pass
    that just covers the shot has files on both sides). Where these leave doubt, frames about the
    quarter points of the shot are compared too: a camera may stand still at both ends of its move.
    Frames that disagree are halved between, up to nine, until the place of a break is known.
    """
    sheet = _Sheet(score, possible)
    probes = choose_frames(lit)
    middle = probes[len(probes) // 2]
    rough = _look_first(sheet, middle, likely)
    keep = sorted(rough, key=lambda each: -rough[each])[:_FEW]
    sheet.look(probes, keep)
    found = _settle(sheet, probes)
    if not found.certain and len(lit) > len(probes) > 1:
        more = _with_quarters(lit, probes)
        sheet.look(more, sheet.offsets)
        probes, found = more, _settle(sheet, more)
    pace, breaks = None, tuple[Break, ...]()
    if len(probes) > 2:
        probes = _halve_between(sheet, probes, lit, found.offset)
        breaks, pace = _how_it_ran(sheet, probes, found.offset)
    return Found(found, pace, breaks, probes, sheet.with_first_look(probes, middle, rough, found))


def choose_frames(lit: Sequence[int]) -> tuple[int, ...]:
    """Return the frames that are compared: near the head, in the middle, near the tail."""
    if len(lit) < 3:
        return tuple(lit)
    inner = lit[1:-1] if len(lit) > 4 else lit
    return inner[0], lit[len(lit) // 2], inner[-1]


def _with_quarters(lit: Sequence[int], probes: Sequence[int]) -> tuple[int, ...]:
    """Return the frames compared and one more in each half, near its middle."""
    half = len(lit) // 2
    added = [
        min(rest, key=lambda index: abs(index - quarter))
        for quarter, part in (
            (len(lit) // 4, range(half)),
            (3 * len(lit) // 4, range(half, len(lit))),
        )
        if (rest := [index for index in part if lit[index] not in probes])
    ]
    return tuple(sorted({*probes, *(lit[index] for index in added)}))


class _Sheet:
    """Scores by offset and frame; what was asked once is not asked again."""

    def __init__(self, score: Score, possible: Sequence[int]) -> None:
        self._score = score
        self._possible = set(possible)
        self._known: dict[tuple[int, int], float] = {}

    @property
    def offsets(self) -> list[int]:
        """Offsets that were looked at closely, rising."""
        return sorted({offset for offset, _ in self._known})

    def look(self, frames: Sequence[int], offsets: Sequence[int]) -> None:
        """Compare frames at offsets, those that may be tried."""
        for frame in frames:
            for offset in sorted(set(offsets) & self._possible):
                if (offset, frame) not in self._known:
                    self._known[offset, frame] = self._score(frame, offset, True)

    def first_look(self, frame: int, offset: int) -> float:
        """Compare a frame at an offset at a smaller size; NaN too where it may not be tried."""
        return self._score(frame, offset, False) if offset in self._possible else np.nan

    def table(self, frames: Sequence[int]) -> dict[int, list[float]]:
        """Return the scores on some frames, by offset."""
        return {
            offset: [self._known.get((offset, frame), np.nan) for frame in frames]
            for offset in self.offsets
        }

    def with_first_look(
        self, frames: Sequence[int], middle: int, rough: dict[int, float], found: Offset
    ) -> dict[int, tuple[float, ...]]:
        """Return the table with the scores of the first look, scaled to the others."""
        table = {offset: tuple(row) for offset, row in self.table(frames).items()}
        near, far = self._known.get((found.offset, middle), np.nan), rough.get(found.offset, np.nan)
        scale = near / far if far > 0 else np.nan
        for offset, told in rough.items():
            if offset not in table and np.isfinite(told * scale):
                table[offset] = tuple(told * scale if f == middle else np.nan for f in frames)
        return dict(sorted(table.items()))


def _look_first(sheet: _Sheet, frame: int, likely: Sequence[int]) -> dict[int, float]:
    """Return scores of one frame at all likely offsets, and beyond as long as they grow."""
    if len(likely) <= _FEW:
        return dict.fromkeys(likely, 0.0)
    told = {each: sheet.first_look(frame, each) for each in likely}
    rough = {each: score for each, score in told.items() if np.isfinite(score)}
    while rough:
        best = max(rough, key=lambda each: rough[each])
        missing = [each for each in (best - 1, best + 1) if each not in rough]
        beyond = {each: sheet.first_look(frame, each) for each in missing}
        found = {each: score for each, score in beyond.items() if np.isfinite(score)}
        if not found:
            return rough
        rough |= found
    return dict.fromkeys(likely, 0.0)


def _settle(sheet: _Sheet, probes: Sequence[int]) -> Offset:
    """Choose among what was looked at, until the neighbours of the chosen one are known too."""
    while True:
        found = choose_offset(sheet.table(probes))
        known = set(sheet.offsets)
        reach = range(found.offset - _CLOSE_BY, found.offset + _CLOSE_BY + 1)
        sheet.look(probes, reach)
        if set(sheet.offsets) == known:
            return found


def _told(sheet: _Sheet, probes: Sequence[int], offset: int) -> dict[int, list[float]]:
    """Return the scores of the frames that tell offsets apart and have a file at the chosen one."""
    table = sheet.table(probes)
    kept = telling_frames(table) & np.isfinite(table[offset])
    return {
        each: [score if keep else np.nan for score, keep in zip(row, kept, strict=True)]
        for each, row in table.items()
    }


def _halve_between(
    sheet: _Sheet, probes: tuple[int, ...], lit: Sequence[int], offset: int
) -> tuple[int, ...]:
    """Add frames between those that disagree about the offset, until they are neighbours."""
    while len(probes) < _MOST_FRAMES:
        placed = place_frames(_told(sheet, probes, offset))
        told = [(f, float(at)) for f, at in zip(probes, placed, strict=True) if np.isfinite(at)]
        gaps = sorted(
            ((later - earlier, earlier, later)
             for (earlier, one), (later, other) in pairwise(told)
             if abs(other - one) > MOST_APART),
            reverse=True,
        )  # fmt: skip
        between = [
            inside
            for _, earlier, later in gaps
            if (inside := [f for f in lit if earlier < f < later and f not in probes])
        ]
        places = [at for _, at in told]
        if not between or max(places) - min(places) > _WIDEST:
            return probes
        added = between[0][len(between[0]) // 2]
        probes = tuple(sorted({*probes, added}))
        reach = range(int(np.floor(min(places))) - 1, int(np.ceil(max(places))) + 2)
        sheet.look(probes, reach)
    return probes


def _how_it_ran(
    sheet: _Sheet, probes: tuple[int, ...], offset: int
) -> tuple[tuple[Break, ...], Pace | None]:
    """Return frames missing or there twice, and the pace; a break alone is no other speed."""
    table = _told(sheet, probes, offset)
    breaks = find_breaks(probes, table)
    if breaks:
        placed = place_frames(table)
        ends = placed[np.isfinite(placed)][[0, -1]]
        return breaks, Pace(float(ends[0]), float(ends[1]), same_speed=True)
    pace = find_pace(probes, table)
    return breaks, pace if np.isfinite(pace.head) else None
