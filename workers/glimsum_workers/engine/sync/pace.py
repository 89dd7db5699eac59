"""Whether a pass ran as the reference did: at its speed, with no frame twice and none missing."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[np.float64]

MOST_APART = 0.2
"""Frames by which the offsets of head and tail may differ."""
_LEAST_RUN = 2
_LEAST_FRAMES = 3


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
    """A place where a frame of a pass is missing, or is there twice.

    Attributes
    ----------
    frame : int
        The first frame of the shot that is found elsewhere than the ones before.
    frames : int
        By how many files its offset differs from theirs: positive, so many files too many before
        it (a frame twice); negative, so many are missing.
    """

    frame: int
    frames: int


def place_frames(scores: Mapping[int, Sequence[float]]) -> Numbers:
    """Return the offset of each frame by itself, with its fraction.

    Parameters
    ----------
    scores : mapping of int to sequence of float
        For each offset the score of each frame (as for `offset.choose_offset`; NaN where the pass
        has no file).

    Returns
    -------
    float64 array, (frames,)
        The best offset, refined by where two straight flanks through its neighbours meet (scores
        fall off from their peak nearly in a line); NaN where one of its neighbours was not tried.
        Some 0.1 frame exact on the frames it was measured on.
    """
    offsets = sorted(scores)
    table = np.array([list(scores[each]) for each in offsets], dtype=np.float64)
    placed = np.full(table.shape[1], np.nan)
    for frame, column in enumerate(table.T):
        if not np.isfinite(column).any():
            continue
        best = int(np.nanargmax(column))
        if not 0 < best < len(offsets) - 1 or offsets[best + 1] - offsets[best - 1] != 2:
            continue
        left, middle, right = (float(each) for each in column[best - 1 : best + 2])
        if not np.isfinite(left + right):
            continue
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
    if len(kept) < _LEAST_FRAMES:
        why = f"only {len(kept)} of {len(placed)} frames can be placed: try more offsets"
        return Pace(np.nan, np.nan, same_speed=False, reason=why)
    at = np.array(frames, dtype=np.float64)
    slope, level = _line(at[kept], placed[kept])
    head, tail = level + slope * at[0], level + slope * at[-1]
    if abs(tail - head) <= MOST_APART:
        return Pace(head, tail, same_speed=True)
    return Pace(
        head,
        tail,
        same_speed=False,
        reason=(
            f"the pass is offset by {head:+.2f} frames at frame {frames[0]} and by {tail:+.2f} at "
            f"frame {frames[-1]}, {MOST_APART} apart at most: it ran at {1.0 + slope:.3f} times "
            "the speed of the reference. Plan a retake at the same speed"
        ),
    )


def _line(at: Numbers, placed: Numbers) -> tuple[float, float]:
    """Return slope and level of a line, by medians over all pairs."""
    rows, columns = np.triu_indices(len(at), 1)
    apart = at[columns] - at[rows]
    slope = float(np.median((placed[columns] - placed[rows]) / apart))
    return slope, float(np.median(placed - slope * at))


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
        Changes of the best offset that last for two scored frames at least. None where a straight
        line (a pass at another speed) tells the offsets better than whole steps do.
    """
    offsets = sorted(scores)
    table = np.array([list(scores[each]) for each in offsets], dtype=np.float64)
    scored = np.flatnonzero(np.isfinite(table).any(axis=0))
    best = [offsets[int(np.nanargmax(table[:, each]))] for each in scored]
    at = [frames[int(each)] for each in scored]
    breaks: list[Break] = []
    steps: list[int] = []
    current = best[0] if best else 0
    for place, found in enumerate(best):
        lasts = best[place : place + _LEAST_RUN]
        if found != current and lasts == [found] * _LEAST_RUN:
            breaks.append(Break(at[place], found - current))
            current = found
        steps.append(current)
    if breaks and _goes_in_a_line(at, place_frames(scores)[scored], steps):
        return ()
    return tuple(breaks)


def _goes_in_a_line(at: Sequence[int], placed: Numbers, steps: Sequence[int]) -> bool:
    """Return whether a straight line is nearer to the offsets of frames than whole steps are."""
    kept = np.isfinite(placed)
    if kept.sum() < _LEAST_FRAMES:
        return False
    where = np.array(at, dtype=np.float64)[kept]
    slope, level = _line(where, placed[kept])
    off_line = np.abs(placed[kept] - (level + slope * where)).mean()
    off_steps = np.abs(placed[kept] - np.array(steps)[kept]).mean()
    return bool(off_line < off_steps)
