"""Where the samples of a resampled picture lie in its source: shifts, small turns and leans."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.resample.kernels import UNSTRETCHED

_MOST_LEAN = 0.02
_MOST_CLIMB = 0.1
_SMALLEST = 0.25
_FARTHEST_PX = 1e9
"""Far beyond any picture; places are whole numbers of 64 bits in compiled code."""


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
        if max(abs(self.right), abs(self.down)) > _FARTHEST_PX:
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
