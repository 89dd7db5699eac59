"""Roll bars: bands of level across the picture that travel from frame to frame."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.level.cells import differ
from glimsum_workers.engine.level.compare import Compared
from glimsum_workers.engine.robust import biweight, weighted_sigma

_MOST_LAG = 4
_FEWEST_BARS = 1.0
"""Periods over the height of the picture; fewer look like a tilt of the light."""
_STEP = 0.1
_SHARE = 0.3
"""Share of what changes between rows that one period must explain."""
_OVER_OTHERS = 8.0
"""How far it must stand above the median period."""


@dataclass(frozen=True)
class RollBars:
    """Bands of level that travel.

    Attributes
    ----------
    amplitude : float
        Peak deviation of the level, 0.01 for 1 %; of light that pulses as a sine.
    bars : float
        Periods over the height of the picture.
    travel : float or None
        Periods the bands go on from one frame to the next, -0.5..0.5, downwards positive; None
        where they jump.
    """

    amplitude: float
    bars: float
    travel: float | None


def find_roll_bars(compared: Compared) -> RollBars | None:
    """Find bands of level that travel through a pass.

    Parameters
    ----------
    compared : Compared
        The compared frames of the pass, 4 at least.

    Returns
    -------
    RollBars or None
        None where no period stands out. On made light with 0.2 % of noise a cell, bands of
        0.5 % and more are found, their amplitude to 10 %, their period to 2 %. Bands that stand
        still can't be told from the set, less than one over the height not from a tilt, and
        none finer than four rows of cells.

    Notes
    -----
    Rows of pairs of frames are compared, the motion between them taken out. Sines of one period
    are fitted to all of them at once beside a parabola; their phases are then joined to one
    place on a circle for each frame, whose radius is the amplitude (Kåsa 1976, doi
    10.1109/TIM.1976.6312298).

    A shutter that reads row by row sees a lamp that pulses at twice the mains frequency M as
    bands; there are none where the exposure is n / (2 M) (common practice).
    """
    if len(compared.frames) < 4:
        return None
    pairs = [p for p in compared.pairs if p.second - p.first <= _MOST_LAG and np.isfinite(p.sigma)]
    profiles = [_profile(compared, pair.first, pair.second, pair.log_ratio) for pair in pairs]
    if len(pairs) < 4:
        return None
    means = np.stack([mean for mean, _ in profiles])
    weights = np.stack([weight for _, weight in profiles])
    rows = means.shape[1]
    tried = np.arange(_FEWEST_BARS, rows / 4 + _STEP / 2, _STEP)
    if len(tried) < 5:
        return None
    plain, _ = _explained(means, weights, None)
    power = np.array([_explained(means, weights, bars)[0] - plain for bars in tried])
    total = float((weights * means**2).sum()) - plain
    best = int(np.argmax(power))
    if power[best] < _SHARE * total or power[best] < _OVER_OTHERS * float(np.median(power)):
        return None
    bars = float(tried[best])
    _, sines = _explained(means, weights, bars)
    places = _join([(p.first, p.second) for p in pairs], sines, len(compared.frames))
    centre, amplitude = _circle(places)
    return RollBars(amplitude, bars, _travel(places - centre, compared.frames))


def _profile(
    compared: Compared, first: int, second: int, ratio: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the mean ln ratio of each row of cells beyond that of the frames, and its weight."""
    usable = compared.valid[first] & compared.valid[second]
    left, prior, _, _ = differ(
        compared.planes[first],
        compared.planes[second],
        usable,
        compared.doubt,
        compared.motions[first, second],
    )
    left = left - ratio
    weight = prior * biweight(left, max(weighted_sigma(left, prior + 1e-12), 1e-4))
    amount = weight.sum(axis=1)
    mean = (weight * left).sum(axis=1) / np.maximum(amount, 1e-9)
    return mean, np.where(amount > 0.1 * amount.max(), amount, 0.0)


def _explained(
    means: NDArray[np.float64], weights: NDArray[np.float64], bars: float | None
) -> tuple[float, NDArray[np.complex128]]:
    """Return the weighted squares a parabola and a sine explain, and the sine of each pair."""
    rows = means.shape[1]
    y = (np.arange(rows) + 0.5) / rows
    columns = [np.ones(rows), y - 0.5, (y - 0.5) ** 2]
    if bars is not None:
        columns += [np.cos(2 * np.pi * bars * y), np.sin(2 * np.pi * bars * y)]
    design = np.stack(columns, axis=1)
    normal = np.einsum("pr,ri,rj->pij", weights, design, design)
    normal += 1e-9 * np.eye(design.shape[1]) * np.trace(normal, axis1=1, axis2=2)[:, None, None]
    pull = np.einsum("pr,ri,pr->pi", weights, design, means)
    answer = np.linalg.solve(normal, pull[..., None])[..., 0]
    sines = np.zeros(len(means), dtype=np.complex128)
    if bars is not None:
        sines = answer[:, 3] - 1j * answer[:, 4]
    return float((pull * answer).sum()), sines


def _join(
    ends: list[tuple[int, int]], steps: NDArray[np.complex128], count: int
) -> NDArray[np.complex128]:
    """Return the sine of each frame, up to what is common to all, from those of the pairs."""
    design = np.zeros((len(ends) + 1, count))
    for row, (first, second) in enumerate(ends):
        design[row, first], design[row, second] = -1.0, 1.0
    design[-1] = 1.0
    answer = np.linalg.lstsq(design, np.append(steps, 0.0), rcond=None)[0]
    return np.asarray(answer, dtype=np.complex128)


def _circle(places: NDArray[np.complex128]) -> tuple[complex, float]:
    """Return centre and radius of the circle nearest to points of the plane."""
    design = np.stack([2 * places.real, 2 * places.imag, np.ones(len(places))], axis=1)
    x, y, rest = np.linalg.lstsq(design, np.abs(places) ** 2, rcond=None)[0]
    return complex(x, y), float(np.sqrt(max(rest + x**2 + y**2, 0.0)))


def _travel(places: NDArray[np.complex128], frames: NDArray[np.intp]) -> float | None:
    """Return the periods that bands go on a frame, None where they jump."""
    near = np.diff(frames) == 1
    turns = (places[1:] * np.conj(places[:-1]))[near]
    size = float(np.abs(turns).sum())
    if not near.any() or abs(turns.sum()) < 0.8 * size:
        return None
    # cos(2 pi bars y - phase): a growing phase moves the bands towards larger y.
    return float(-np.angle(turns.sum()) / (2 * np.pi))
