"""Flicker: one gain a frame of a pass against its own steady level, camera locked or moving."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.level.compare import Compared, compare_frames
from glimsum_workers.engine.level.pairs import join_pairs
from glimsum_workers.engine.level.sample import LevelSample
from glimsum_workers.engine.level.slow import SlowChange, find_slow_change

KEPT_STOPS = 0.25
"""A slow change of more than this is light that was meant to change; less is the lamp's own."""


@dataclass(frozen=True)
class Levels:
    """Gains of the frames of one pass; divide a frame by its gain to steady it.

    Attributes
    ----------
    gains : float64 array, (frames,)
        Light of the frame over the light it should have; 1 where not trusted.
    sigma : float64 array, (frames,)
        Standard error of ln gain; inf where not trusted.
    trusted : bool array, (frames,)
    slow : SlowChange or None
        The slow change that was found, whether it was kept or not; its places are indices.
    slow_is_kept : bool
        True where `slow` is left in the light.
    """

    gains: NDArray[np.float64]
    sigma: NDArray[np.float64]
    trusted: NDArray[np.bool_]
    slow: SlowChange | None = None
    slow_is_kept: bool = False


def solve_levels(
    samples: Sequence[LevelSample],
    ambient: Sequence[LevelSample] | LevelSample | None = None,
    *,
    moving: bool = True,
    anchor: int | None = None,
    meant: NDArray[np.float64] | None = None,
    limit_stops: float = 1.0,
    worst_sigma: float = 0.02,
) -> Levels:
    """Return the gain of each frame of a pass against its steady level.

    Parameters
    ----------
    samples : sequence of LevelSample
        One a frame, in shooting order, after exposure.
    ambient : LevelSample, or one a frame, optional
        Samples of the ambient the frames still hold, in the same unit of exposure. Also
        give it where it has been subtracted already, with `samples` taken before that.
    moving : bool
        True lets the picture move and stretch from frame to frame (an affine map a pair);
        False compares cells where they stand.
    anchor : int, optional
        Index whose gain is 1: every frame is held to its level. Default: the median of the
        trusted gains is 1, and a slow change of more than `KEPT_STOPS` stays.
    meant : float64 array, (frames,), optional
        Light the lamp was meant to give, up to a factor, 0 where out: that stays, all else is
        flicker.
    limit_stops : float
        A frame further than this from where it should be is no flicker but another light.
    worst_sigma : float
        A gain with a larger standard error (of ln gain) is not trusted.

    Returns
    -------
    Levels
        Frames without light (a flash between its cues) have gain 1 and are not trusted.
        Measured on rendered passes whose lamps flicker by up to 7 % (rms error of the gain
        over its median): locked camera 0.01 %; moving camera, 13 frames of 8-bit pictures lit
        by small lamps in the dark, 0.29 %; both also with a fade of a stop over 6 frames, a
        boat that goes through and 1 % of the pixels clipped (0.01 and 0.19 %).

    Raises
    ------
    LightError
        If the samples don't match one another, or `anchor` is not a trusted frame.

    Notes
    -----
    Pairs of frames 1, 2, 4, ... apart are compared (see `pairs.compare_levels`) and all of
    them are solved together by weighted least squares on ln gain, so that errors don't add up
    along the shot as they would along a chain. What the pairs disagree beyond their own sigma
    widens every sigma.

    A change common to the whole picture is taken as the lamp's, not as the set's. A change of
    part of the picture (one lamp of many, an actor's shadow, a boat) is left in as long as most
    of the lit cells stay. A moving lamp close to the set breaks this: use ``level: follow``
    there.

    What flicker and a fade have in common can't be told apart: a kept fade is as sure as the
    mean of the flicker on its plateaus (2 % of flicker, 10 frames a plateau: 0.9 % of its
    ratio). Give `meant` to keep it to the measurement.
    """
    compared = compare_frames(samples, ambient, moving=moving)
    return levels_of(
        compared, anchor=anchor, meant=meant, limit_stops=limit_stops, worst_sigma=worst_sigma
    )


def levels_of(
    compared: Compared,
    *,
    anchor: int | None = None,
    meant: NDArray[np.float64] | None = None,
    limit_stops: float = 1.0,
    worst_sigma: float = 0.02,
) -> Levels:
    """Return the gain of each frame from what comparing the frames gave.

    Parameters
    ----------
    compared : Compared
        From `compare_frames`.
    anchor : int, optional
    meant : float64 array, (frames,), optional
    limit_stops : float
    worst_sigma : float
        As for `solve_levels`.

    Returns
    -------
    Levels
        As from `solve_levels`.
    """
    count, lit = len(compared.means), compared.frames
    gains, sigma = np.ones(count), np.full(count, np.inf)
    slow: SlowChange | None = None
    kept = False
    if len(lit) > 1:
        logs, errors = join_pairs(compared.pairs, len(lit))
        good = errors <= worst_sigma
        if meant is not None:
            good &= meant[lit] > 0
            logs = logs - np.log(np.where(meant[lit] > 0, meant[lit], 1.0))
        slow = find_slow_change(lit[good], logs[good], errors[good]) if good.any() else None
        kept = slow is not None and anchor is None and meant is None
        kept = kept and slow is not None and slow.range_stops >= KEPT_STOPS
        if kept and slow is not None:
            logs = logs - slow.at(lit)
        elif good.any():
            logs = logs - np.median(logs[good])
        good &= np.abs(logs) <= limit_stops * np.log(2.0)
        gains[lit[good]], sigma[lit[good]] = np.exp(logs[good]), errors[good]
    held = _normalise(gains, sigma, anchor)
    return Levels(held.gains, held.sigma, held.trusted, slow, kept)


def _normalise(
    gains: NDArray[np.float64], sigma: NDArray[np.float64], anchor: int | None
) -> Levels:
    trusted = np.isfinite(sigma)
    if anchor is not None and not trusted[anchor]:
        raise LightError(
            "The frame that the levels are held to has no level of its own",
            seen=f"index {anchor}",
            expected=f"one of {np.flatnonzero(trusted).tolist()}",
            remedy="Choose a frame on which this pass is lit.",
        )
    if trusted.any():
        base = np.median(gains[trusted]) if anchor is None else gains[anchor]
        gains[trusted] /= base
    return Levels(gains, sigma, trusted)
