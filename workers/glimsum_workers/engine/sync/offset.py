"""In which frame of a pass the move starts: a whole number of frames, or a question."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[np.float64]

LEAST_MARGIN = 0.1
"""How much better an offset must be than all but its neighbours, of its own score. Where a camera
only pans, reading between pixels alone makes one offset up to 5 % better (measured)."""
LEAST_NATS = 1.0
"""A score below says that a frame has nothing in common with the reference: noise against 144 x 96
pixels reaches 0.8, a lamp that is out 1.3 by what the room leaks (measured)."""
_SURE_FRAMES = 3
"""Frames that an answer rests on."""

LOCKED = (
    "The camera is locked: every frame looks like every other, so the pictures can't tell the "
    "start offset. It is taken as 0; state start_offset if the pass started early or late."
)


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
        For each offset that may be: `information.mutual_information` for some frames of the shot
        (three at least, with light in the pass), after alignment. The same frames for each
        offset; NaN where the pass has no file. Offsets that lack half of the frames are left out.
    moving : bool
        False for a locked camera, whose frames are all alike.

    Returns
    -------
    Offset
        The offset that beats every other on the frames both have. Certain if it rests on three
        frames with light, its neighbours were tried too, it is better by 10 % than all beyond them
        (than all, where nothing beyond was tried), and on most frames that tell offsets apart none
        is better by 10 %. A slow or dark pass beats its neighbours by a few per cent only: then it
        is right to one frame, and `pace.place_frames` says how it lies between them.

    Raises
    ------
    ValueError
        If there are no scores, or offsets have different numbers of them.
    """
    table, offsets = _as_table(scores)
    if not moving:
        return Offset(0, 0.0, certain=False, reason=LOCKED)
    kept = np.isfinite(table).sum(axis=1) > table.shape[1] // 2
    if not kept.any():
        reason = "The pass has hardly a file for the frames it is compared on. State start_offset."
        return Offset(0, 0.0, certain=False, reason=reason)
    table, offsets = table[kept], offsets[kept]
    margins = _margins(table)
    best = int(np.argmax(margins))
    margin, offset = float(np.clip(margins[best], 0.0, 1.0)), int(offsets[best])
    reason = _objection(table, best, offsets)
    return Offset(offset, margin, certain=not reason, reason=reason)


def _margins(table: Numbers) -> Numbers:
    """Return for each offset how much it beats its strongest rival by, of its own score.

    Any two offsets are compared on the frames both have, so that a frame that shows more than
    others speaks for none of them.
    """
    margins = np.ones(len(table))
    for row, mine in enumerate(table):
        both = np.isfinite(table) & np.isfinite(mine)
        ours = np.where(both, mine, 0.0).sum(axis=1)
        theirs = np.where(both, np.nan_to_num(table), 0.0).sum(axis=1)
        lead = 1.0 - np.maximum(theirs, 0.0) / np.maximum(ours, 1e-9)
        rivals = np.delete(lead, row)
        margins[row] = rivals.min(initial=1.0)
    return margins


def telling_frames(scores: Mapping[int, Sequence[float]]) -> NDArray[np.bool_]:
    """Return which frames tell offsets apart.

    Parameters
    ----------
    scores : mapping of int to sequence of float
        As for `choose_offset`.

    Returns
    -------
    bool array, (frames,)
        True where the best offset of the frame is better by 10 % than all beyond its neighbours
        (than all, where nothing beyond was tried): a camera that stands still there, or only pans,
        makes them all alike, and a dark frame shows nothing.
    """
    table, offsets = _as_table(scores)
    return _telling(table, offsets)


def _telling(table: Numbers, offsets: NDArray[np.intp]) -> NDArray[np.bool_]:
    told = np.zeros(table.shape[1], dtype=np.bool_)
    for frame, column in enumerate(table.T):
        if not np.isfinite(column).any():
            continue
        best = int(np.nanargmax(column))
        rivals = np.isfinite(column) & _rivals(offsets, best)
        rival = column[rivals].max(initial=0.0)
        clear = rivals.any() and rival <= (1 - LEAST_MARGIN) * column[best]
        told[frame] = clear and column[best] >= LEAST_NATS
    return told


def _lead(table: Numbers, best: int, offsets: NDArray[np.intp]) -> float:
    """Return by how much an offset beats all beyond its neighbours; all, where none is beyond."""
    rivals = np.flatnonzero(_rivals(offsets, best))
    return float(_margins(table[[best, *rivals]])[0])


def _rivals(offsets: NDArray[np.intp], best: int) -> NDArray[np.bool_]:
    """Return the offsets beyond the neighbours of the best one; all others, where none is."""
    away = np.abs(offsets - offsets[best])
    return np.asarray(away > (1 if away.max() > 1 else 0), dtype=np.bool_)


def _objection(table: Numbers, best: int, offsets: NDArray[np.intp]) -> str:
    mine, offset = table[best], int(offsets[best])
    told = float(np.nanmean(mine))
    if told < LEAST_NATS:
        return (
            f"No frame of the pass shows what the reference shows (at best {told:.2f} nats a tile, "
            f"{LEAST_NATS} wanted). State start_offset."
        )
    frames = table.shape[1]
    if frames < _SURE_FRAMES:
        return (
            f"Offset {offset} rests on {frames} {'frame' if frames == 1 else 'frames'} with light "
            f"in the pass, {_SURE_FRAMES} wanted. Look at it, and state start_offset."
        )
    lead = _lead(table, best, offsets)
    if lead < LEAST_MARGIN:
        return (
            f"Offset {offset} is only {lead:.1%} better than others, {LEAST_MARGIN:.0%} wanted. "
            "A camera that only turns about its lens, or hardly moves, looks alike on every "
            "frame. State start_offset."
        )
    return _disagreement(table, best, offsets)


def _disagreement(table: Numbers, best: int, offsets: NDArray[np.intp]) -> str:
    mine, offset, frames = table[best], int(offsets[best]), table.shape[1]
    telling = _telling(table, offsets)
    if telling.sum() < _SURE_FRAMES:
        return (
            f"Only {telling.sum()} of {frames} frames tell offset {offset} from others, "
            f"{_SURE_FRAMES} wanted: the camera stands still on the rest, or the pass shows too "
            "little there. Look at it, and state start_offset."
        )
    tops = np.max(np.where(np.isfinite(table), table, -np.inf), axis=0)
    wins = int(np.sum(telling & (mine >= (1 - LEAST_MARGIN) * tops)))
    if 2 * wins <= telling.sum():
        return (
            f"Offset {offset} is the best on {wins} of {telling.sum()} frames only: the pass may "
            "have frames missing or have run at another speed. Look at it, and state start_offset."
        )
    if not {offset - 1, offset + 1} <= set(offsets.tolist()):
        return (
            f"Offset {offset} is the last one that was tried ({offsets[0]} to {offsets[-1]}): "
            "the true one may lie beyond. Look at it, and state start_offset."
        )
    return ""


def _as_table(scores: Mapping[int, Sequence[float]]) -> tuple[Numbers, NDArray[np.intp]]:
    """Return scores as offsets x frames, and the offsets, rising."""
    counts = {len(each) for each in scores.values()}
    if len(counts) != 1 or 0 in counts:
        raise ValueError(
            f"scores of {len(scores)} offsets for {sorted(counts)} frames: "
            "expected at least one offset, and the same frames for each"
        )
    offsets = np.array(sorted(scores), dtype=np.intp)
    table = np.array([list(scores[int(each)]) for each in offsets], dtype=np.float64)
    return table, offsets
