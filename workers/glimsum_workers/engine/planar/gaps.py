"""Frames on which a patch was not found: laid between those on which it was."""

from collections.abc import Mapping, Sequence

import numpy as np

from glimsum_workers.engine.planar.homography import Matrix, PlaneModel, Points, carry, map_through

_UNKNOWN_PX = 1.0
"""Taken as the error of a frame between neighbours where too few frames tell."""
_LEAST_TRIED = 4


class Gaps:
    """Lays a patch on frames it was not found on.

    Parameters
    ----------
    known : mapping of int to Matrix
        From the anchor to each frame the patch was found on; at least one.
    outline : Points, (m, 2)
        On the anchor frame.
    model : PlaneModel
    """

    def __init__(self, known: Mapping[int, Matrix], outline: Points, model: PlaneModel) -> None:
        self._places = {frame: carry(known[frame], outline) for frame in sorted(known)}
        self._outline = outline
        self._model: PlaneModel = model

    def lay(self, frame: int) -> tuple[Matrix, float, bool]:
        """Lay the patch on a frame.

        Returns
        -------
        matrix : Matrix
            Each point of the outline on a straight line, at an even pace, between the frames
            before and after; beyond the first and last it stays where it was last seen.
        sigma_px : float
            Rms error a axis that the same rule makes on frames that are known, for a gap as
            long; where none can be tried one pixel a frame.
        between : bool
            Whether the patch was found both before and after.
        """
        before = max((f for f in self._places if f < frame), default=None)
        after = min((f for f in self._places if f > frame), default=None)
        if before is None or after is None:
            nearest = after if before is None else before
            if nearest is None:
                raise ValueError("no frame on which the patch was found")
            matrix = map_through(self._outline, self._places[nearest], self._model)
            return matrix, _UNKNOWN_PX * abs(frame - nearest), False
        laid = self._between(before, after, frame)
        return map_through(self._outline, laid, self._model), self._error(before, after), True

    def _between(self, before: int, after: int, frame: int) -> Points:
        share = (frame - before) / (after - before)
        return (1 - share) * self._places[before] + share * self._places[after]

    def _error(self, before: int, after: int) -> float:
        """Return what laying frames of as long a gap gets wrong where they are known."""
        length = after - before
        left = [
            self._between(first, first + length, middle) - self._places[middle]
            for first in self._places
            for middle in range(first + 1, first + length)
            if first + length in self._places and middle in self._places
        ]
        if len(left) < _LEAST_TRIED:
            return _UNKNOWN_PX * length / 2
        return float(np.sqrt(np.mean(np.square(left))))


def nearest_two(marks: Sequence[int], frame: int) -> tuple[int, int]:
    """Return the marked frames on either side of a frame; twice the same beyond the outermost."""
    before = max((mark for mark in marks if mark <= frame), default=min(marks))
    after = min((mark for mark in marks if mark >= frame), default=max(marks))
    return before, after
