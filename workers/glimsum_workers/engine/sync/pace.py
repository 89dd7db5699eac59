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
    before : int
        The offset of the frames before it.
    """

    frame: int
    frames: int
    before: int


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
        The best offset, refined by its neighbours: where straight flanks meet, or, where the peak
        is rounded (a frame moves near against far by less than a pixel), by a parabola. NaN where
        one of its neighbours was not tried. Some 0.1 frame exact on the frames it was measured on.
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
        near = column[best - 1 : best + 2]
        if np.isfinite(near).all():
            wide = column[max(best - 2, 0) : best + 3] if 1 < best < len(offsets) - 2 else near
            placed[frame] = offsets[best] + _fraction(near, wide)
    return placed


def _fraction(near: Numbers, wide: Numbers) -> float:
    """Return where the peak of three scores lies, in frames from the middle one.

    `wide` holds five scores where two on either side are known: a peak is rounded if the score
    falls less at its first step than at its second, on the steeper side.
    """
    left, middle, right = (float(each) for each in near)
    fall = middle - min(left, right)
    if fall <= 0:
        return 0.0
    flanks, parabola = (right - left) / fall, (right - left) / (2 * middle - left - right)
    beyond = 0.0
    if len(wide) == 5:
        beyond = float(left - wide[0] if left < right else right - wide[4])
    # A fall of half the next one is a round top, an equal one a straight flank.
    straight = 1.0 if not beyond > 0 else float(np.clip(2 * fall / beyond - 1, 0, 1))
    return 0.5 * (straight * flanks + (1 - straight) * parabola)


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
            breaks.append(Break(at[place], found - current, current))
            current = found
        steps.append(current)
    if breaks and _goes_in_a_line(at, place_frames(scores)[scored], steps, breaks):
        return ()
    return tuple(breaks)


def _goes_in_a_line(
    at: Sequence[int], placed: Numbers, steps: Sequence[int], breaks: Sequence[Break]
) -> bool:
    """Return whether a straight line is nearer to the offsets of frames than whole steps are.

    A frame beside a break has a neighbour that is two frames away, or none: it is left out.
    """
    where, whole = np.array(at, dtype=np.float64), np.array(steps, dtype=np.float64)
    kept = np.isfinite(placed)
    away = kept & np.array([all(not -2 <= f - each.frame <= 0 for each in breaks) for f in at])
    kept = away if away.sum() >= _LEAST_FRAMES else kept
    if kept.sum() < _LEAST_FRAMES:
        return False
    slope, level = _line(where[kept], placed[kept])
    off_line = np.abs(placed - (level + slope * where))[kept].mean()
    off_steps = (placed - whole)[kept]
    return bool(off_line < np.abs(off_steps - np.median(off_steps)).mean())
