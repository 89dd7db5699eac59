"""Flashes of one kind: how many, over the whole picture and in every field, in any second."""

from collections import deque
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.flash_figures import FlashArea
from glimsum_jobs.flash_limits import MOST_FLASHES
from glimsum_workers.engine.flashes.changes import Change
from glimsum_workers.engine.flashes.screen import Hits, Screen

TOGETHER = Fraction(1, 12)
"""Seconds within which changes of the same way are one change: a flash does not reach every place
on the same frame. Flashes faster than twelve a second are counted every other one."""

_KNOWN = 16
"""Leading edges known of each place: more than lie in a second, `TOGETHER` apart."""
_NEVER = -(1 << 30)
_SIGNS = (1, -1)
"""Of a rise and of a fall, as they are kept by place; 0 is neither so far."""

Places = NDArray[np.intp]


@dataclass(frozen=True)
class Second:
    """The second with most flashes at one place.

    Attributes
    ----------
    flashes : int
        Flashes whose leading edge lies in it.
    edges : tuple of int
        These edges, frames counted from 0.
    place : int
        Place on the screen.
    cells : Hits
        Cells that changed in it.
    """

    flashes: int
    edges: tuple[int, ...]
    place: int
    cells: Hits


class FlashCount:
    """Counts flashes of one kind frame by frame.

    A flash is a change of more than the limit's area one way with one the other way behind it;
    it counts at its first change. Rise and fall take turns.

    Parameters
    ----------
    screen : Screen
        Cells and places.
    rate : Fraction
        Frames a second.
    """

    def __init__(self, screen: Screen, rate: Fraction) -> None:
        self._screen, self._rate = screen, rate
        self._together = max(1, int(rate * TOGETHER))
        places, cells = len(screen.limits), (screen.rows, screen.columns)
        self._recent: deque[tuple[int, tuple[NDArray[np.float64] | None, ...]]] = deque(
            maxlen=self._together + 1
        )
        self._way = np.zeros(places, np.int8)
        self._lead = np.zeros(places, np.int32)
        self._spent = [np.full(places, _NEVER, np.int32) for _ in range(2)]
        self._edges = [np.full((_KNOWN, places), _NEVER, np.int32) for _ in range(2)]
        self._last = [np.full(cells, _NEVER, np.int32) for _ in range(2)]
        self.worst: dict[FlashArea, Second] = {}
        """By ``picture`` and ``field``; without a flash nothing."""
        self.over: set[int] = set()
        """Leading edges of all seconds with more than `MOST_FLASHES`."""

    def add(self, frame: int, change: Change) -> None:
        """Count the changes of the next frame; frames are numbered from 0 without a gap."""
        both = (change.rises, change.falls)
        areas = tuple(self._areas(way, frame, hits) for way, hits in enumerate(both))
        self._recent.append((frame, areas))
        if all(area is None for _, both in self._recent for area in both):
            return
        over = [self._is_over(way) for way in range(2)]
        # Both may come on one frame: the one that is due comes first.
        rose = self._way > 0
        for group, order in ((~rose, (0, 1)), (rose, (1, 0))):
            for way in order:
                due = self._way != _SIGNS[way]
                self._turn(way, frame, np.flatnonzero(over[way] & group & due))

    def _areas(self, way: int, frame: int, hits: Hits) -> NDArray[np.float64] | None:
        """Return the area of new changes by place; None where there is none."""
        new = hits & (frame - self._last[way] > self._together)
        if not new.any():
            return None
        self._last[way][new] = frame
        return self._screen.areas(new)

    def _is_over(self, way: int) -> Hits:
        """Return the places where changes that no edge has taken yet fill more than the limit."""
        total = np.zeros(len(self._screen.limits))
        for frame, both in self._recent:
            area = both[way]
            if area is not None:
                total += np.where(frame > self._spent[way], area, 0.0)
        return np.asarray(total > self._screen.limits * (1 + 1e-9), np.bool_)

    def _turn(self, way: int, frame: int, places: Places) -> None:
        """Note a change at places; the one before it led a flash that is now whole."""
        if not places.size:
            return
        whole = places[self._way[places] != 0]
        if whole.size:
            self._lead_flash(1 - way, whole)
        self._way[places] = _SIGNS[way]
        self._lead[places] = frame
        self._spent[way][places] = frame + self._together

    def _lead_flash(self, way: int, places: Places) -> None:
        known, lead = self._edges[way], self._lead[places]
        known[1:, places] = known[:-1, places]
        known[0, places] = lead
        inside = (lead - known[:, places]) * self._rate.denominator < self._rate.numerator
        counts = inside.sum(axis=0)
        for at in np.flatnonzero(counts > MOST_FLASHES):
            self.over.update(known[inside[:, at], places[at]].tolist())
        areas: tuple[tuple[FlashArea, Hits], ...] = (
            ("picture", places == 0),
            ("field", places > 0),
        )
        for name, chosen in areas:
            if chosen.any():
                best = int(np.argmax(np.where(chosen, counts, -1)))
                edges = known[inside[:, best], places[best]]
                self._keep(name, sorted(edges.tolist()), int(places[best]))

    def _keep(self, name: FlashArea, edges: list[int], place: int) -> None:
        if name not in self.worst or len(edges) > self.worst[name].flashes:
            cells = np.maximum(*self._last) >= edges[0]
            self.worst[name] = Second(len(edges), tuple(edges), place, cells)
