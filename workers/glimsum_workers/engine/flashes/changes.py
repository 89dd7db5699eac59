"""Changes of each cell: from peak to valley, from valley to peak, to red and away from it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.flash_limits import BRIGHT, RED_CHROMATICITY, RED_STEP, STEP
from glimsum_workers.engine.flashes.light import CellLight
from glimsum_workers.engine.flashes.screen import Cells, Hits

_SLACK = np.float32(1e-6)
"""What float32 may add to or take from a difference that is met exactly."""


@dataclass(frozen=True)
class Change:
    """Which cells change on a frame, and which way.

    Attributes
    ----------
    rises, falls : Hits
        Never both in one cell.
    """

    rises: Hits
    falls: Hits


class _Swings:
    """Finds peaks and valleys that are next to each other, with the step as hysteresis.

    A change is told once, on the first frame on which it is as large as the step and counts;
    noise below the step turns nothing round, and a slow fade is one change however long it is.
    """

    def __init__(self, shape: tuple[int, int], step: float) -> None:
        self._step = np.float32(step)
        self._way = np.zeros(shape, np.int8)
        self.start = np.zeros(shape, np.float32)
        """Where the change that goes on began."""
        self._least = np.full(shape, np.inf, np.float32)
        self._most = np.full(shape, -np.inf, np.float32)
        self._told = np.zeros(shape, np.bool_)

    def follow(self, value: Cells) -> tuple[Hits, Hits, Hits, Hits]:
        """Return where a new least and most is met, and where a rise and a fall begins."""
        lower, higher = value < self._least, value > self._most
        self._least = np.minimum(self._least, value)
        self._most = np.maximum(self._most, value)
        up = (self._way <= 0) & (value - self._least >= self._step)
        down = (self._way >= 0) & (self._most - value >= self._step) & ~up
        self.start = np.where(up, self._least, np.where(down, self._most, self.start))
        self._way = np.where(up, 1, np.where(down, -1, self._way)).astype(np.int8)
        self._most = np.where(up, value, self._most)
        self._least = np.where(down, value, self._least)
        self._told &= ~(up | down)
        return lower, higher, up, down

    def tell(self, counts: Hits) -> Change:
        """Return the changes that count and have not been told."""
        new = counts & (self._way != 0) & ~self._told
        self._told |= new
        return Change(new & (self._way > 0), new & (self._way < 0))


class LuminanceChanges:
    """Halves of general flashes (WCAG 2.2): a tenth of the luminance, the darker below 0.80."""

    def __init__(self, shape: tuple[int, int]) -> None:
        self._swings = _Swings(shape, STEP - float(_SLACK))

    def follow(self, light: CellLight) -> Change:
        """Return what changes on the next frame."""
        self._swings.follow(light.luminance)
        darker = np.minimum(self._swings.start, light.luminance)
        return self._swings.tell(darker < np.float32(BRIGHT) - _SLACK)


class RednessChanges:
    """Halves of red flashes, first definition: R - G - B, one state or both saturated red."""

    def __init__(self, shape: tuple[int, int]) -> None:
        self._swings = _Swings(shape, RED_STEP + float(_SLACK))
        self._red_least, self._red_most, self._red_start = (np.zeros(shape, np.bool_),) * 3

    def follow(self, light: CellLight) -> Change:
        """Return what changes on the next frame."""
        lower, higher, up, down = self._swings.follow(light.redness)
        self._red_least = np.where(lower, light.red, self._red_least)
        self._red_most = np.where(higher, light.red, self._red_most)
        begun = np.where(up, self._red_least, self._red_most)
        self._red_start = np.where(up | down, begun, self._red_start)
        self._red_most = np.where(up, light.red, self._red_most)
        self._red_least = np.where(down, light.red, self._red_least)
        return self._swings.tell(self._red_start | light.red)


class RedChromaChanges:
    """Halves of red flashes, second definition: u'v' from or to a saturated red.

    Outside red the state that lies furthest from the red primary counts, inside it the nearest.

    Parameters
    ----------
    shape : tuple of int
        Rows and columns.
    red : tuple of float
        u', v' of the red primary.
    """

    def __init__(self, shape: tuple[int, int], red: tuple[float, float]) -> None:
        self._primary = np.array(red, np.float32)[:, None, None]
        self._inside = np.zeros(shape, np.bool_)
        self._state: NDArray[np.float32] | None = None

    def follow(self, light: CellLight) -> Change:
        """Return what changes on the next frame."""
        now = light.chromaticity
        if self._state is None:
            self._state, self._inside = now.copy(), light.red.copy()
        moved = np.hypot(*(now - self._state)) > np.float32(RED_CHROMATICITY) + _SLACK
        rises = light.red & ~self._inside & moved
        falls = ~light.red & self._inside & moved
        self._inside = (self._inside | rises) & ~falls
        away, known = np.hypot(*(now - self._primary)), np.hypot(*(self._state - self._primary))
        further = np.where(self._inside, away < known, away > known)
        self._state = np.where(rises | falls | further, now, self._state)
        return Change(rises, falls)
