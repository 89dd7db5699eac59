"""How near every place of a frame is, in a form that motions can be laid over."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.codes import Plane

Numbers = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Nearness:
    """How near every place of a frame is, in deviations from the mean of the picture.

    Attributes
    ----------
    plane : float16 array, (height, width)
        Inverse distance less its mean, over its standard deviation, limited to 4. The sign is
        such that the lower half of the picture is the nearer one, as floors lie; the pictures
        alone can't always tell.
    factor : int
        Pixels of the full size to one of `plane`.
    size : tuple of int
        (height, width) of the full picture, pixels.
    travel_px : tuple of float
        x, y: how far a place one deviation nearer moves beyond the mean place from a frame of
        the reference to the next, at the picture's centre; pixels.
    reason : str
        Why it can't be used, in words; empty where it can.
    """

    plane: NDArray[np.float16]
    factor: int
    size: tuple[int, int]
    travel_px: tuple[float, float]
    reason: str = ""

    def over(self, places: Numbers, side_px: float) -> Numbers:
        """Return the mean nearness of squares.

        Parameters
        ----------
        places : float64 array, (n, 2)
            x, y of their centres from the picture's centre, pixels of the full size.
        side_px : float
            Their side.

        Returns
        -------
        float64 array, (n,)
            Over whole samples of `plane`, one at least; beyond the picture its edge.
        """
        height, width = self.plane.shape
        half = max(round(side_px / self.factor), 1) / 2
        middle = (places + np.array([self.size[1], self.size[0]]) / 2) / self.factor
        left, right = _ends(middle[:, 0], half, width)
        top, bottom = _ends(middle[:, 1], half, height)
        sums = self._sums
        total = sums[bottom, right] - sums[top, right] - sums[bottom, left] + sums[top, left]
        return np.asarray(total / ((bottom - top) * (right - left)), dtype=np.float64)

    def full(self) -> Plane:
        """Return the nearness of every pixel of the full size: (height, width), float32."""
        return enlarge_plane(self.plane.astype(np.float32), self.size, self.factor)

    @cached_property
    def _sums(self) -> Numbers:
        """Return sums over all samples above and left of each corner."""
        return np.pad(self.plane.astype(np.float64).cumsum(0).cumsum(1), ((1, 0), (1, 0)))


def enlarge_plane(plane: Plane, size: tuple[int, int], factor: int) -> Plane:
    """Return a reduced plane `factor` times as large, linear between its samples.

    Parameters
    ----------
    plane : Plane, (height, width)
    size : tuple of int
        (height, width) of the result; what lies beyond the last sample repeats it.
    factor : int

    Returns
    -------
    Plane, (height, width)
    """
    result = plane
    for axis in (0, 1):
        at = np.clip((np.arange(size[axis]) + 0.5) / factor - 0.5, 0, result.shape[axis] - 1)
        low = np.minimum(at.astype(np.intp), max(result.shape[axis] - 2, 0))
        share = (at - low).astype(np.float32).reshape((-1, 1) if axis == 0 else (1, -1))
        near = np.take(result, low, axis=axis)
        far = np.take(result, np.minimum(low + 1, result.shape[axis] - 1), axis=axis)
        result = np.asarray(near + share * (far - near), dtype=np.float32)
    return result


def _ends(middle: Numbers, half: float, length: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return first sample and last sample + 1 about a middle, within the plane, never empty."""
    first = np.clip(np.rint(middle - half), 0, length - 1).astype(np.intp)
    last = np.clip(np.rint(middle + half), first + 1, length).astype(np.intp)
    return first, last
