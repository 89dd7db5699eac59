"""Shifts and small turns by compiled tiles: resampled, weighed and laid down in one walk.

Same taps and same limits beside lamps as `shifted` and `mapped`, which do everything else and
stay the reference.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.codes import Image, Plane
from glimsum_workers.engine.laying import (
    Halves,
    count_unfinite,
    matrix_of,
    matte_of,
    mixes,
    size_of,
    stored,
)
from glimsum_workers.engine.resample.kernels import UNSTRETCHED, interpolation_taps
from glimsum_workers.engine.resample.ring_limits import BLOCK_PX, RingRule, rule_of

_MOST_LEAN = 0.02
_MOST_CLIMB = 0.1
_SMALLEST = 0.25


@dataclass(frozen=True)
class Laid:
    """How a resampled picture is laid down.

    Attributes
    ----------
    before, after : float64 array, (3, 3), or None
        What colours are multiplied by before and after the resample; limits beside lamps are
        those of the light in between. None: nothing.
    matte : Plane or None
        0..1, multiplies what is laid down.
    added : bool
        Added to the target; else it replaces what was there.
    """

    before: NDArray[np.float64] | None = None
    after: NDArray[np.float64] | None = None
    matte: Plane | None = None
    added: bool = False


@dataclass(frozen=True)
class Place:
    """Where new samples lie in the source, columns and rows from 0.

    New sample (x, y) is the source at column ``a x + b y + right``, row ``c x + d y + down``.
    """

    a: float
    b: float
    right: float
    c: float
    d: float
    down: float

    @classmethod
    def of(
        cls,
        turn: NDArray[np.float64],
        shift: NDArray[np.float64],
        shape: tuple[int, int],
        size: tuple[int, int],
    ) -> "Place":
        """Return the places of a motion about the centres of source and result."""
        (a, b), (c, d) = turn.tolist()
        x, y = 0.5 - size[1] / 2, 0.5 - size[0] / 2
        right = a * x + b * y + shape[1] / 2 - 0.5 + float(shift[0])
        return cls(a, b, right, c, d, c * x + d * y + shape[0] / 2 - 0.5 + float(shift[1]))

    @property
    def is_quick(self) -> bool:
        """Return whether the compiled tiles take it: it leans little and needs eight taps."""
        if not _SMALLEST <= self.d <= UNSTRETCHED:
            return False
        lean = self.b / self.d
        return (
            abs(lean) <= _MOST_LEAN
            and abs(self.c) <= _MOST_CLIMB
            and _SMALLEST <= self.a - lean * self.c <= UNSTRETCHED
        )

    def share_inside(self, shape: tuple[int, int], size: tuple[int, int]) -> float:
        """Return the share of a result of `size` whose places lie in a source of `shape`."""
        outside = 0
        x = np.arange(size[1])
        for y in range(size[0]):
            # A row is a line: where both ends lie inside, all of it does.
            across, along = self.a * x[[0, -1]] + self.b * y, self.c * x[[0, -1]] + self.d * y
            if not _beyond(across + self.right, along + self.down, shape).any():
                continue
            across, along = self.a * x + self.b * y, self.c * x + self.d * y
            outside += int(_beyond(across + self.right, along + self.down, shape).sum())
        return 1 - outside / (size[0] * size[1])

    def numbers(self) -> tuple[float, float, float, float, float, float]:
        """Return all six in order."""
        return self.a, self.b, self.right, self.c, self.d, self.down


def _beyond(
    across: NDArray[np.floating], along: NDArray[np.floating], shape: tuple[int, int]
) -> NDArray[np.bool_]:
    beyond: NDArray[np.bool_] = (np.abs(across - (shape[1] - 1) / 2) > shape[1] / 2) | (
        np.abs(along - (shape[0] - 1) / 2) > shape[0] / 2
    )
    return beyond


def lay_quickly(
    source: Image | Halves, place: Place, rule: RingRule | None, target: Image, laid: Laid
) -> None:
    """Lay a resampled picture on `target`, in place.

    Parameters
    ----------
    source : Image or Halves
        Scene-linear; halves that are not finite count as 0, an Image has to be finite.
    place : Place
        One that `is_quick`.
    rule : RingRule or None
        Of ``laid.before @ source``; None leaves all samples free.
    target : Image
        C order; changed.
    laid : Laid
        What it is multiplied by and whether it is added.

    Notes
    -----
    Rows first, at the new columns, then along columns; each sample's fraction is its own. Taps
    change evenly over as many rows as a fraction takes to change by 0.004: against the exact
    taps a sample is off by 8e-6 of the contrast under its kernel, where half floats round by
    2.4e-4. All sums are float32, in one order, without fused operations.
    """
    from glimsum_workers.engine.compiled.tiles import lay_tiles  # noqa: PLC0415  # costs 0.5 s

    lamps = np.zeros((1, 1), np.bool_) if rule is None else rule.lamps
    lay_tiles(
        *stored(source),
        *matrix_of(laid.before),
        place.numbers(),
        tap_nodes(),
        np.ascontiguousarray(lamps),
        bool(lamps.any()),
        target,
        *matrix_of(laid.after),
        *matte_of(laid.matte),
        laid.added,
    )


def find_rule_quickly(source: Image | Halves, before: NDArray[np.float64] | None) -> RingRule:
    """Return the rule of a picture that is multiplied by a matrix.

    Parameters
    ----------
    source : Image or Halves
        Scene-linear; halves that are not finite count as 0.
    before : float64 array, (3, 3), or None
        None: as it is.

    Returns
    -------
    RingRule
        That of `find_ring_rule` for ``before @ source``.
    """
    return survey_quickly(source, before)[0]


def survey_quickly(
    source: Image | Halves, before: NDArray[np.float64] | None
) -> tuple[RingRule, int]:
    """Return what `find_rule_quickly` does, and how many halves are NaN or infinite."""
    height, width = size_of(source)
    blocks = 3, -(-height // BLOCK_PX), -(-width // BLOCK_PX)
    high, low = np.empty(blocks, np.float32), np.empty(blocks, np.float32)
    unfinite = _find_extremes(source, before, high, low)
    return rule_of(high, low), unfinite


def _find_extremes(
    source: Image | Halves,
    before: NDArray[np.float64] | None,
    high: NDArray[np.float32],
    low: NDArray[np.float32],
) -> int:
    from glimsum_workers.engine.compiled.extremes import (  # noqa: PLC0415  # costs 0.5 s
        find_extremes,
        find_plane_extremes,
    )

    how, matrix = matrix_of(before)
    gains = matrix.diagonal()
    if not isinstance(source, tuple) or mixes(how) or not (gains > 0).all():
        find_extremes(*stored(source), how, matrix, high, low)
        return count_unfinite(source) if isinstance(source, tuple) else 0
    # Products keep the order of what is multiplied, so the extremes may be multiplied instead.
    parts = zip(stored(source)[1], gains, high, low, strict=True)
    return sum(int(find_plane_extremes(*part)) for part in parts)


@cache
def tap_nodes() -> NDArray[np.float32]:
    """Return the taps at the nodes of a fine grid of fractions: (nodes, 8)."""
    from glimsum_workers.engine.compiled.room import MARGIN, NODES  # noqa: PLC0415  # as above

    fractions = np.arange(-MARGIN, NODES + MARGIN + 2) / NODES
    return np.ascontiguousarray(interpolation_taps(fractions).T.astype(np.float32))
