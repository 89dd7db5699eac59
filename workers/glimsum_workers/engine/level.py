"""Flicker: one gain a frame of a pass against its own steady level, camera locked or moving."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.codes import Image, Plane
from glimsum_workers.engine.level_pairs import (
    Motion,
    Pair,
    compare_levels,
    find_motion,
    join_motions,
    no_motion,
)
from glimsum_workers.engine.metrics import as_plane, block_means

GRID_COLUMNS = 120
"""Cells across the picture when no cell size is given."""


@dataclass(frozen=True)
class LevelSample:
    """What the level needs of one frame.

    Attributes
    ----------
    light : Plane, (rows, columns)
        Mean over R, G, B and a square cell, scene-linear, after exposure. Linear in the
        picture: a sample of the ambient may be subtracted later.
    valid : bool array, (rows, columns)
        False where more than 1 % of a cell is clipped; such a cell can't follow its lamp.
    cell_px : int
        Side of a cell in pixels.
    """

    light: Plane
    valid: NDArray[np.bool_]
    cell_px: int


@dataclass(frozen=True)
class Levels:
    """Gains of the frames of one pass; divide a frame by its gain to steady it.

    Attributes
    ----------
    gains : float64 array, (frames,)
        Light of the frame over the steady light; 1 where not trusted.
    sigma : float64 array, (frames,)
        Standard error of ln gain; inf where not trusted.
    trusted : bool array, (frames,)
    """

    gains: NDArray[np.float64]
    sigma: NDArray[np.float64]
    trusted: NDArray[np.bool_]


def level_sample(
    rgb: Image, *, clipped: NDArray[np.bool_] | None = None, cell_px: int | None = None
) -> LevelSample:
    """Return the small picture of a frame from which its level is solved.

    Parameters
    ----------
    rgb : Image
        Scene-linear, dark subtracted, hot pixels mended, times its exposure factor. Before
        or after the ambient is subtracted.
    clipped : bool array, (height, width), optional
        From `hot_pixels.clip_mask`.
    cell_px : int, optional
        Side of a cell in pixels; default 1/120 of the width, at least 2. The same for every
        frame of a pass and for its ambient.

    Returns
    -------
    LevelSample
        About 120 x 68 cells for a 16:9 picture: 32 kB.

    Raises
    ------
    LightError
        If the picture is smaller than a cell.
    """
    size = cell_px if cell_px is not None else max(2, rgb.shape[1] // GRID_COLUMNS)
    light = block_means(as_plane(rgb), size)
    if clipped is None:
        return LevelSample(light, np.ones(light.shape, dtype=np.bool_), size)
    return LevelSample(light, block_means(clipped.astype(np.float32), size) <= 0.01, size)


def solve_levels(
    samples: Sequence[LevelSample],
    ambient: Sequence[LevelSample] | LevelSample | None = None,
    *,
    moving: bool = True,
    anchor: int | None = None,
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
        Index whose gain is 1. Default: the median of the trusted gains is 1.
    limit_stops : float
        A frame further than this from the others is no flicker but another light.
    worst_sigma : float
        A gain with a larger standard error (of ln gain) is not trusted.

    Returns
    -------
    Levels
        Frames without light (a flash between its cues) have gain 1 and are not trusted.
        Measured on rendered passes whose lamps flicker by up to 7 % (rms error of the gain
        over its median): locked camera, 6 frames, 0.07 %; moving camera, 13 frames of 8-bit
        pictures lit by small lamps in the dark, 0.19 %, and 0.3 to 0.6 % with tiles a little
        smaller or larger, so count on that; evenly lit moving passes 0.02 to 0.06 %.

    Raises
    ------
    LightError
        If the samples don't match one another, or `anchor` is not a trusted frame.

    Notes
    -----
    Pairs of frames 1, 2, 4, ... apart are compared (see `level_pairs.compare_levels`) and
    all of them are solved together by weighted least squares on ln gain, so that errors
    don't add up along the shot as they would along a chain. What the pairs disagree beyond
    their own sigma widens every sigma.

    A slow change common to the whole picture is taken as lamp level, not as the set's. A
    change of part of the picture (one lamp of many, an actor's shadow) is left in as long
    as most of the lit cells stay. A moving lamp close to the set breaks this: use
    ``level: follow`` there. Cells count by how far their light stands over 10 times the
    ambient, because the ambient doesn't flicker with the lamp.
    """
    room = _match_ambient(samples, ambient)
    planes = [sample.light - dim for sample, dim in zip(samples, room, strict=True)]
    floor = _noise_floor(planes)
    lit = _lit_frames(planes, floor, limit_stops)
    gains, sigma = np.ones(len(samples)), np.full(len(samples), np.inf)
    if len(lit) > 1:
        dim = np.mean([np.abs(room[i]) for i in lit], axis=0)
        doubt = np.sqrt((6.0 * floor) ** 2 + (10.0 * dim) ** 2).astype(np.float32)
        chosen = [samples[i].valid for i in lit]
        pairs = _compare_all([planes[i] for i in lit], chosen, doubt, moving)
        logs, errors = _join_pairs(pairs, len(lit))
        good = (errors <= worst_sigma) & (np.abs(logs) <= limit_stops * np.log(2.0))
        where = np.asarray(lit)[good]
        gains[where], sigma[where] = np.exp(logs[good]), errors[good]
    return _normalise(gains, sigma, anchor)


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


def _match_ambient(
    samples: Sequence[LevelSample], ambient: Sequence[LevelSample] | LevelSample | None
) -> list[Plane]:
    """Return the ambient's light for each sample; zeros where there is none."""
    room: list[LevelSample] = []
    if ambient is not None:
        room = [ambient] if isinstance(ambient, LevelSample) else list(ambient)
    if len(room) not in (0, 1, len(samples)):
        raise LightError(
            "There are neither one nor as many ambient samples as frames",
            seen=f"{len(room)} ambient samples",
            expected=f"1 or {len(samples)}",
            remedy="Sample the ambient of every frame, or one average of them.",
        )
    shapes = {(sample.light.shape, sample.cell_px) for sample in [*samples, *room]}
    if len(shapes) > 1:
        raise LightError(
            "The level samples of a pass differ in size",
            seen=", ".join(sorted(f"{s[1]} x {s[0]} cells of {c} px" for s, c in shapes)),
            expected="one grid and one cell for a pass and its ambient",
            remedy="Give `level_sample` the same cell_px for all of them.",
        )
    if not room:
        return [np.zeros_like(sample.light) for sample in samples]
    if len(room) == 1:
        return [room[0].light] * len(samples)
    return [sample.light for sample in room]


def _noise_floor(planes: Sequence[Plane]) -> float:
    """Return a cell's noise, from neighbouring frames: light below a few of it is no light."""
    if len(planes) < 2:
        return 0.0
    steps = []
    for before, after in pairwise(planes):
        # Their ratio is taken out, so that flicker is not taken for noise.
        ratio = float(np.median(after)) / max(float(np.median(before)), 1e-12)
        left = after - np.float32(np.clip(ratio, 0.0, 4.0)) * before
        steps.append(float(np.median(np.abs(left))))
    # 1.4826 turns a median deviation into sigma; a difference holds the noise of two frames.
    # The quieter pairs are asked: light that goes on or off makes others look noisy.
    noise = 1.4826 * float(np.percentile(steps, 25, method="lower")) / np.sqrt(2.0)
    peak = max(float(np.percentile(plane, 99)) for plane in planes)
    return max(float(noise), 1e-5 * peak)


def _lit_frames(planes: Sequence[Plane], floor: float, limit_stops: float) -> list[int]:
    means = np.array([float(plane.mean()) for plane in planes])
    bright = np.array([float(np.percentile(plane, 95)) for plane in planes])
    lit = (bright > 6.0 * floor) & (means > 0.0)
    if not lit.any():
        return []
    away = np.abs(np.log2(np.where(lit, means, 1.0) / np.median(means[lit])))
    # One stop more than the limit: a moving picture changes its mean by itself.
    return [int(i) for i in np.flatnonzero(lit & (away <= limit_stops + 1.0))]


def _compare_all(
    planes: Sequence[Plane], valid: Sequence[NDArray[np.bool_]], doubt: Plane, moving: bool
) -> list[Pair]:
    pairs: list[Pair] = []
    known: dict[tuple[int, int], Motion] = {}
    lag = 1
    while lag < len(planes):
        for first in range(len(planes) - lag):
            second, half = first + lag, first + lag // 2
            two, usable = (planes[first], planes[second]), valid[first] & valid[second]
            motion = no_motion()
            if moving:
                if lag > 1:
                    motion = join_motions(known[first, half], known[half, second])
                motion = find_motion(*two, usable, doubt, motion)
            known[first, second] = motion
            ratio = compare_levels(*two, usable, doubt, motion, moving=moving)
            pairs.append(Pair(first, second, *ratio))
        lag *= 2
    return pairs


def _join_pairs(
    pairs: Sequence[Pair], count: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return ln gain and its standard error, about the median frame, from all pairs."""
    design = np.zeros((len(pairs), count))
    for row, pair in enumerate(pairs):
        design[row, pair.first], design[row, pair.second] = -1.0, 1.0
    # A pair without light has weight 0; its frame then has no finite error of its own.
    weight = 1.0 / np.array([pair.sigma for pair in pairs])
    target = np.array([pair.log_ratio for pair in pairs])
    # The mean of ln gain is free: one more row holds it at zero.
    rows = np.vstack([design * weight[:, None], np.full((1, count), weight.max())])
    answer = np.linalg.lstsq(rows, np.append(target * weight, 0.0), rcond=None)[0]
    spare = len(pairs) - (count - 1)
    excess = ((target - design @ answer) * weight) ** 2
    spread = max(1.0, float(excess.sum()) / spare) if spare > 0 else 1.0
    covariance = np.linalg.pinv(rows.T @ rows) * spread
    return answer - np.median(answer), np.sqrt(np.maximum(np.diag(covariance), 0.0))
