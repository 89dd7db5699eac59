"""The frames of one pass compared with one another: pairs 1, 2, 4, ... frames apart."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.codes import Plane
from glimsum_workers.engine.level.cells import Motion
from glimsum_workers.engine.level.pairs import (
    Pair,
    compare_levels,
    find_motion,
    join_motions,
    no_motion,
)
from glimsum_workers.engine.level.sample import LevelSample

MOST_STOPS = 4.0
"""A frame whose mean is further from the others is not compared: out, or another scene."""


@dataclass(frozen=True)
class Compared:
    """The frames of a pass that hold light, and what comparing pairs of them gave.

    Attributes
    ----------
    frames : int array, (lit,)
        Which of the samples hold light.
    planes, valid : list of arrays, (rows, columns)
        Light without ambient and usable cells of each of `frames`.
    doubt : Plane, (rows, columns)
        Light below which a cell tells little.
    pairs : list of Pair
        Their indices count along `frames`.
    motions : dict of pair to Motion
        By the indices of the pair.
    means : float64 array, (samples,)
        Mean light of every sample without ambient, of those in the dark too.
    floor : float
        A cell's noise.
    """

    frames: NDArray[np.intp]
    planes: list[Plane]
    valid: list[NDArray[np.bool_]]
    doubt: Plane
    pairs: list[Pair]
    motions: dict[tuple[int, int], Motion]
    means: NDArray[np.float64]
    floor: float


def compare_frames(
    samples: Sequence[LevelSample],
    ambient: Sequence[LevelSample] | LevelSample | None = None,
    *,
    moving: bool = True,
) -> Compared:
    """Compare the frames of a pass with one another.

    Parameters
    ----------
    samples : sequence of LevelSample
        One a frame, in shooting order, after exposure.
    ambient : LevelSample, or one a frame, optional
        Samples of the ambient the frames still hold, in the same unit of exposure.
    moving : bool
        True lets the picture move and stretch from frame to frame (an affine map a pair);
        False compares cells where they stand.

    Returns
    -------
    Compared
        About n log2(n) pairs for n frames.

    Raises
    ------
    LightError
        If the samples don't match one another.

    Notes
    -----
    Cells count by how far their light stands over 10 times the ambient, because the ambient
    doesn't flicker with the lamp.
    """
    room = _match_ambient(samples, ambient)
    planes = [sample.light - dim for sample, dim in zip(samples, room, strict=True)]
    floor = _noise_floor(planes)
    lit = _lit_frames(planes, floor)
    lights, valid = [planes[i] for i in lit], [samples[i].valid for i in lit]
    doubt = np.zeros((1, 1), dtype=np.float32)
    pairs: list[Pair] = []
    motions: dict[tuple[int, int], Motion] = {}
    if len(lit) > 1:
        dim = np.mean([np.abs(room[i]) for i in lit], axis=0)
        doubt = np.sqrt((6.0 * floor) ** 2 + (10.0 * dim) ** 2).astype(np.float32)
        pairs, motions = _compare_all(lights, valid, doubt, moving)
    means = np.array([float(plane.mean()) for plane in planes])
    return Compared(
        np.asarray(lit, dtype=np.intp), lights, valid, doubt, pairs, motions, means, floor
    )


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


def _lit_frames(planes: Sequence[Plane], floor: float) -> list[int]:
    means = np.array([float(plane.mean()) for plane in planes])
    bright = np.array([float(np.percentile(plane, 95)) for plane in planes])
    lit = (bright > 6.0 * floor) & (means > 0.0)
    if not lit.any():
        return []
    away = np.abs(np.log2(np.where(lit, means, 1.0) / np.median(means[lit])))
    return [int(i) for i in np.flatnonzero(lit & (away <= MOST_STOPS))]


def _compare_all(
    planes: Sequence[Plane], valid: Sequence[NDArray[np.bool_]], doubt: Plane, moving: bool
) -> tuple[list[Pair], dict[tuple[int, int], Motion]]:
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
    return pairs, known
