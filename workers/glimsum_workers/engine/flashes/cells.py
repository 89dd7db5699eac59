"""Cells that each flash too often, whether or not they do so on the same frames."""

from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.flash_figures import FlashArea
from glimsum_jobs.flash_limits import MOST_FLASHES
from glimsum_workers.engine.flashes.changes import Change
from glimsum_workers.engine.flashes.counting import Second
from glimsum_workers.engine.flashes.screen import Hits, Screen

_KNOWN = 32
"""Leading edges known of each cell; a cell with more in a second is counted as having so many."""
_NEVER = -(1 << 30)


class CellCount:
    """Counts the flashes of every cell by itself, and the area of those above the limit.

    Where a strike falls slowly, bright places fall by a tenth long before dim ones, and no frame
    has enough of them for `FlashCount`. Here each place is counted alone, and the area of all
    that flash too often within the same second is held against the limit.

    Parameters
    ----------
    screen : Screen
        Cells and places.
    rate : Fraction
        Frames a second.
    """

    def __init__(self, screen: Screen, rate: Fraction) -> None:
        self._screen, self._rate = screen, rate
        cells = screen.rows * screen.columns
        self._way = np.zeros(cells, np.int8)
        self._lead = np.zeros(cells, np.int32)
        self._edges = [np.full((_KNOWN, cells), _NEVER, np.int32) for _ in range(2)]
        self._when = np.full(cells, _NEVER, np.int32)
        self._many = np.zeros(cells, np.int32)
        self.worst: dict[FlashArea, Second] = {}
        """By ``picture`` and ``field``; only what is over the limit."""
        self.over: set[int] = set()
        """Leading edges of the seconds that are over the limit."""

    def add(self, frame: int, change: Change) -> None:
        """Count the changes of the next frame; frames are numbered from 0 without a gap."""
        found = False
        for way, (sign, hits) in enumerate(((1, change.rises), (-1, change.falls))):
            cells = np.flatnonzero(hits)
            whole = cells[self._way[cells] == -sign]
            if whole.size:
                found |= self._lead_flash(1 - way, whole)
            self._way[cells] = sign
            self._lead[cells] = frame
        if found:
            self._judge()

    def _lead_flash(self, way: int, cells: NDArray[np.intp]) -> bool:
        """Note whole flashes by their first change; return whether a cell has too many."""
        known, lead = self._edges[way], self._lead[cells]
        known[1:, cells] = known[:-1, cells]
        known[0, cells] = lead
        counts = self._inside(known[:, cells], lead).sum(axis=0)
        many = counts > MOST_FLASHES
        self._when[cells[many]] = lead[many]
        self._many[cells[many]] = counts[many]
        return bool(many.any())

    def _inside(self, edges: NDArray[np.int32], lead: NDArray[np.int32] | int) -> Hits:
        """Return which edges lie in the second that ends with `lead`."""
        away = np.asarray(lead, np.int64) - edges
        inside = (away >= 0) & (away * self._rate.denominator < self._rate.numerator)
        return np.asarray(inside, np.bool_)

    def _judge(self) -> None:
        last = int(self._when.max())
        recent = self._inside(self._when, last)
        for flashes in range(MOST_FLASHES + 1, int(self._many[recent].max()) + 1):
            hits = (recent & (self._many >= flashes)).reshape(self._screen.rows, -1)
            places = np.flatnonzero(self._screen.areas(hits) > self._screen.limits * (1 + 1e-9))
            if places.size:
                self._keep(flashes, hits, places)

    def _keep(self, flashes: int, hits: Hits, places: NDArray[np.intp]) -> None:
        edges = self._edges_of(hits)
        self.over.update(edges)
        areas: tuple[tuple[FlashArea, Hits], ...] = (
            ("picture", places == 0),
            ("field", places > 0),
        )
        for name, of_area in areas:
            chosen = places[of_area]
            if chosen.size and (name not in self.worst or flashes > self.worst[name].flashes):
                self.worst[name] = Second(flashes, edges[-flashes:], int(chosen[0]), hits)

    def _edges_of(self, hits: Hits) -> tuple[int, ...]:
        """Return the edges of the cell with most flashes."""
        cell = int(np.argmax(np.where(hits.ravel(), self._many, -1)))
        lead = int(self._when[cell])
        both = [each[self._inside(each[:, cell], lead), cell] for each in self._edges]
        return tuple(sorted(max(both, key=len).tolist()))
