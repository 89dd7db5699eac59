"""The part of a resampled picture that its source covers."""

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.motion import Affine, Motion


@dataclass(frozen=True)
class Window:
    """A rectangle of whole pixels; right and bottom lie beyond its last pixel.

    Attributes
    ----------
    left, top, right, bottom : int
        From the top left corner of the picture.
    """

    left: int
    top: int
    right: int
    bottom: int

    @classmethod
    def whole(cls, size: tuple[int, int]) -> Self:
        """Return the window of a whole picture of (height, width)."""
        return cls(0, 0, size[1], size[0])

    @property
    def is_empty(self) -> bool:
        """Return whether no pixel lies in it."""
        return self.right <= self.left or self.bottom <= self.top

    def within(self, other: Self) -> Self:
        """Return what lies in both."""
        return type(self)(
            max(self.left, other.left),
            max(self.top, other.top),
            min(self.right, other.right),
            min(self.bottom, other.bottom),
        )

    def slices(self) -> tuple[slice, slice]:
        """Return rows and columns, to index an array with."""
        return slice(self.top, self.bottom), slice(self.left, self.right)


def covered_window(motion: Motion | Affine | NDArray[np.float32], size: tuple[int, int]) -> Window:
    """Return a rectangle in which every pixel's place lies in the source.

    Parameters
    ----------
    motion : Motion, Affine, or float32 array (height, width, 2)
        As for `resample`.
    size : tuple of int
        (height, width) of source and result, pixels.

    Returns
    -------
    Window
        Rows and columns at the edges are left out, the worst first, until all that is left is
        covered; the largest such rectangle for motions of a few pixels. May be empty.
    """
    outside = _outside(motion, size)
    left, top, right, bottom = 0, 0, size[1], size[0]
    while left < right and top < bottom:
        edges = {
            "left": outside[top:bottom, left].mean(),
            "right": outside[top:bottom, right - 1].mean(),
            "top": outside[top, left:right].mean(),
            "bottom": outside[bottom - 1, left:right].mean(),
        }
        worst = max(edges, key=lambda edge: edges[edge])
        if not edges[worst]:
            break
        left, right = left + (worst == "left"), right - (worst == "right")
        top, bottom = top + (worst == "top"), bottom - (worst == "bottom")
    return Window(left, top, max(right, left), max(bottom, top))


def _outside(
    motion: Motion | Affine | NDArray[np.float32], size: tuple[int, int]
) -> NDArray[np.bool_]:
    """Return which pixels are seen nowhere in the source: (height, width)."""
    x = np.arange(size[1]) + 0.5
    y = np.arange(size[0])[:, None] + 0.5
    if isinstance(motion, np.ndarray):
        across, down = x + motion[..., 0], y + motion[..., 1]
    else:
        (a, b), (c, d) = motion.turn().tolist()
        centred = x - size[1] / 2, y - size[0] / 2
        across = a * centred[0] + b * centred[1] + size[1] / 2 + motion.dx
        down = c * centred[0] + d * centred[1] + size[0] / 2 + motion.dy
    beyond: NDArray[np.bool_] = (across < 0) | (across > size[1]) | (down < 0) | (down > size[0])
    return beyond
