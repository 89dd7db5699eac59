"""Whether a pass ran as the reference did: at its speed, with no frame twice and none missing."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[np.float64]

MOST_APART = 0.2
"""Frames by which the offsets of head and tail may differ."""
_LEAST_RUN = 2


@dataclass(frozen=True)
class Pace:
    """The start offset at both ends of a pass.

    Attributes
    ----------
    head, tail : float
        Offset at the first and at the last frame, frames and fractions.
    same_speed : bool
        They differ by 0.2 frame at most.
    reason : str
        What is wrong, in words; empty where nothing is.
    """

    head: float
    tail: float
    same_speed: bool
    reason: str = ""


@dataclass(frozen=True)
class Break:
    """A place where frames of a pass are missing, or are there twice.

    Attributes
    ----------
    frame : int
        The first frame of the shot that is found elsewhere than expected.
    frames : int
        Frames missing before it (positive), or too many (negative).
    """

    frame: int
    frames: int


def place_frames(scores: Mapping[int, Sequence[float]]) -> Numbers:
    """Return the offset of each frame by itself, with its fraction.

    Parameters
    ----------
    scores : mapping of int to sequence of float
        For each offset the score of each frame (as for `sync.choose_offset`); offsets without a
        gap.

    Returns
    -------
    float64 array, (frames,)
        The best offset, refined by where two straight flanks through its neighbours meet (scores
        fall off from their peak nearly in a line); NaN where the best one is the first or last
        tried. Some 0.1 frame exact on the frames it was measured on.
    """
    offsets = sorted(scores)
    table = np.array([list(scores[each]) for each in offsets], dtype=np.float64)
    placed = np.full(table.shape[1], np.nan)
    for frame, column in enumerate(table.T):
        best = int(np.argmax(column))
        if 0 < best < len(offsets) - 1:
            left, middle, right = column[best - 1 : best + 2]
            fall = middle - min(left, right)
            placed[frame] = offsets[best] + (0.5 * (right - left) / fall if fall > 0 else 0.0)
    return placed


def find_pace(frames: Sequence[int], scores: Mapping[int, Sequence[float]]) -> Pace:
    """Compare the start offset at the head of a pass with that at its tail.

    Parameters
    ----------
    frames : sequence of int
        Frames of the shot that were scored, rising: three or more, the first and last among them.
    scores : mapping of int to sequence of float
        For each offset the score of each of these frames.

    Returns
    -------
    Pace
        From a straight line through the offsets of the frames (median of the slopes of all pairs).
        Where fewer than three frames can be placed the ends are NaN and the reason says so.

    References
    ----------
    Theil 1950 and Sen 1968, doi 10.1080/01621459.1968.10480934.
    """
    placed = place_frames(scores)
    kept = np.flatnonzero(np.isfinite(placed))
    if len(kept) < 3:
        why = f"only {len(kept)} of {len(placed)} frames can be placed: try more offsets"
        return Pace(np.nan, np.nan, same_speed=False, reason=why)
    at = np.array(frames, dtype=np.float64)
    rows, columns = np.triu_indices(len(kept), 1)
    apart = at[kept][columns] - at[kept][rows]
    slope = float(np.median((placed[kept][columns] - placed[kept][rows]) / apart))
    level = float(np.median(placed[kept] - slope * at[kept]))
    head, tail = level + slope * at[0], level + slope * at[-1]
    if abs(tail - head) <= MOST_APART:
        return Pace(head, tail, same_speed=True)
    rate = 1.0 + slope
    return Pace(
        head,
        tail,
        same_speed=False,
        reason=(
            f"the pass is offset by {head:+.2f} frames at frame {frames[0]} and by {tail:+.2f} at "
            f"frame {frames[-1]}, {MOST_APART} apart at most: it ran at {rate:.3f} times the speed "
            "of the reference. Plan a retake at the same speed"
        ),
    )


def find_breaks(frames: Sequence[int], scores: Mapping[int, Sequence[float]]) -> tuple[Break, ...]:
    """Find where the offset of a pass changes by whole frames and stays so.

    Parameters
    ----------
    frames : sequence of int
        Frames of the shot that were scored, rising; each one, if places are to be exact.
    scores : mapping of int to sequence of float
        For each offset the score of each of these frames.

    Returns
    -------
    tuple of Break
        Changes of the best offset that last for two scored frames at least.
    """
    offsets = sorted(scores)
    table = np.array([list(scores[each]) for each in offsets], dtype=np.float64)
    best = [offsets[int(each)] for each in table.argmax(axis=0)]
    breaks, current = [], best[0]
    for place in range(1, len(best)):
        lasts = best[place : place + _LEAST_RUN]
        if best[place] != current and lasts == [best[place]] * _LEAST_RUN:
            breaks.append(Break(frames[place], best[place] - current))
            current = best[place]
    return tuple(breaks)
