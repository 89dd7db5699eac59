"""In which frame of a pass the move starts: a whole number of frames, or a question."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[np.float64]

LEAST_MARGIN = 0.1
"""How much better than all others an offset must be, of its own score. Where a camera only pans,
reading between pixels alone makes one offset up to 5 % better than the others (measured); on a
move with parallax the right one was 39 % better and more."""
_LEAST_NATS = 0.5
"""A score below says that no frame has anything in common with the reference."""
_SURE_PROBES = 3
"""Frames that an answer rests on."""


@dataclass(frozen=True)
class Offset:
    """The start of a pass against the reference.

    Attributes
    ----------
    offset : int
        Frames by which the pass started early: its picture is found so much later. 0 where
        nothing could be found.
    margin : float
        How much better this offset scores than the next best one, of its own score, 0..1.
    certain : bool
        False: a person must be asked.
    reason : str
        Why it isn't certain, and what to do; empty where it is.
    """

    offset: int
    margin: float
    certain: bool
    reason: str = ""


def choose_offset(scores: Mapping[int, Sequence[float]], *, moving: bool = True) -> Offset:
    """Choose the start offset whose frames share most with those of the reference.

    A wrong frame of a moving camera was seen from elsewhere: near and far are displaced against
    each other, no shift, rotation or scale brings them together, and so it shares less. Where the
    rig itself drifted doesn't matter.

    Parameters
    ----------
    scores : mapping of int to sequence of float
        For each offset that may be: `sync_information.mutual_information` for some frames of the
        shot (the first, a middle and the last one with light in the pass; three at least), after
        alignment. The same frames for each offset.
    moving : bool
        False for a locked camera, whose frames are all alike.

    Returns
    -------
    Offset
        The offset with the largest sum. Certain if it beats every other by 10 % at least, is the
        best for most of the frames, and isn't at the end of the offsets that were tried.

    Raises
    ------
    ValueError
        If there are no scores, or offsets have different numbers of them.
    """
    table = _as_table(scores)
    if not moving:
        return Offset(0, 0.0, certain=False, reason=_LOCKED)
    offsets, totals = sorted(scores), table.sum(axis=1)
    best = int(np.argmax(totals))
    others = np.delete(totals, best)
    margin = 1.0 if others.size == 0 else float(1 - max(others.max(), 0) / max(totals[best], 1e-9))
    margin = float(np.clip(margin, 0.0, 1.0))
    offset = offsets[best]
    reason = _objection(table, best, offset, offsets, margin)
    return Offset(offset, margin, certain=not reason, reason=reason)


_LOCKED = (
    "The camera is locked: every frame looks like every other, so the pictures can't tell the "
    "start offset. It is taken as 0; state start_offset if the pass started early or late."
)


def _objection(
    table: Numbers, best: int, offset: int, offsets: Sequence[int], margin: float
) -> str:
    if float(table[best].mean()) < _LEAST_NATS:
        return (
            f"No frame of the pass shows what the reference shows (at best "
            f"{table[best].mean():.2f} nats a tile, {_LEAST_NATS} wanted). State start_offset."
        )
    if margin < LEAST_MARGIN:
        return (
            f"Offset {offset} is only {margin:.1%} better than the next best, "
            f"{LEAST_MARGIN:.0%} wanted. A camera that only turns about its lens, or hardly moves, "
            "looks alike on every frame. State start_offset."
        )
    wins = int((table.argmax(axis=0) == best).sum())
    if 2 * wins <= table.shape[1]:
        return (
            f"Offset {offset} is the best on {wins} of {table.shape[1]} frames only: the pass may "
            "have frames missing or have run at another speed. Look at it, and state start_offset."
        )
    if table.shape[1] < _SURE_PROBES:
        return (
            f"Offset {offset} rests on {table.shape[1]} frames with light in the pass, "
            f"{_SURE_PROBES} wanted. Look at it, and state start_offset."
        )
    if len(offsets) > 1 and offset in (offsets[0], offsets[-1]) and offset != 0:
        return (
            f"Offset {offset} is the last one that was tried ({offsets[0]} to {offsets[-1]}): "
            "the true one may lie beyond. Look at it, and state start_offset."
        )
    return ""


def _as_table(scores: Mapping[int, Sequence[float]]) -> Numbers:
    """Return scores as offsets x frames, offsets rising."""
    counts = {len(each) for each in scores.values()}
    if len(counts) != 1 or 0 in counts:
        raise ValueError(
            f"scores of {len(scores)} offsets for {sorted(counts)} frames: "
            "expected at least one offset, and the same frames for each"
        )
    return np.array([list(scores[each]) for each in sorted(scores)], dtype=np.float64)
