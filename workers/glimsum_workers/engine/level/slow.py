"""Slow changes of a lamp told from its flicker: fades, warming up, a sagging battery, steps."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]

_MOST_RAMPS = 4
_LIKELY = 0.01
"""Chance, by the F test, of flicker alone looking as much like a ramp: above it, it is flicker."""
_OVER_FLICKER = 4.0
"""Rms of what is left that a ramp must exceed, so that chance between few frames is no fade."""
_GRID = 48
"""Most places at which a ramp is first tried to begin or end."""
_SHAPES_TRIED = 6


@dataclass(frozen=True)
class Ramp:
    """One change of light between two plateaus.

    Attributes
    ----------
    first, last : int
        Last frame at the old light, first frame at the new one.
    stops : float
        New light over old.
    shape : str
        How it goes between them: ``stops`` or ``light``, whichever is linear.
    """

    first: int
    last: int
    stops: float
    shape: str


@dataclass(frozen=True)
class SlowChange:
    """The light of a lamp without its flicker, as ramps one after the other.

    Attributes
    ----------
    ramps : tuple of Ramp
        In order of frames.
    base : float
        ln of the light before all of them.
    range_stops : float
        Brightest over darkest of the frames it was found in.
    flicker : float
        Rms of ln light about it: what a kept fade is unsure by, over the root of the frames of
        a plateau.
    """

    ramps: tuple[Ramp, ...]
    base: float
    range_stops: float
    flicker: float

    def at(self, places: NDArray[np.intp]) -> Values:
        """Return ln of the light on each frame."""
        x = np.asarray(places, dtype=np.float64)
        logs = np.full(x.shape, self.base)
        for ramp in self.ramps:
            size = ramp.stops * np.log(2.0)
            logs += size * _shape(x, ramp.first, ramp.last, size if ramp.shape == "light" else 0.0)
        return logs


def find_slow_change(places: NDArray[np.intp], logs: Values, errors: Values) -> SlowChange | None:
    """Find the slow change in the level of a pass.

    Parameters
    ----------
    places : int array, (frames,)
        Frame numbers, rising.
    logs : float64 array, (frames,)
        ln of the light on each frame, up to a constant.
    errors : float64 array, (frames,)
        Standard errors of `logs`.

    Returns
    -------
    SlowChange or None
        None where a constant with flicker says all: each ramp must be less likely by chance
        than 1 % (F test on the sums of squares, its two ends counted as parameters) and exceed
        four times the flicker. Frames more than a stop off their neighbours' median are left
        out; plateaus shorter than two frames are not seen.

    Notes
    -----
    Ramps are added one at a time, the one that explains most first, and refitted together. With
    2 % of flicker and 48 frames, a fade of one stop over 6 frames is found to 0.4 % of its ratio
    (rms); without flicker, to the errors of `logs`.
    """
    near = np.abs(logs - _running_median(logs)) <= np.log(2.0)
    x, y = places[near].astype(np.float64), logs[near]
    if len(x) < 5:
        return None
    floor = float(np.median(errors[near])) ** 2 * len(x)
    ends = _ends(x)
    found: list[Ramp] = []
    columns = [np.ones_like(x)]
    left = y - y.mean()
    for _ in range(_MOST_RAMPS):
        before = float(left @ left) + floor
        ramp, column = _best_ramp(x, y, columns, ends)
        if ramp is None:
            break
        rest = _fit(y, [*columns, column])[1]
        after = float(rest @ rest) + floor
        spent = 2 if ramp.first <= x[0] and ramp.last >= x[-1] else 4
        spare = len(x) - len(columns) * 3 + 2 - spent
        if spare < 1 or _by_chance(after / before, spent, spare) > _LIKELY:
            break
        found.append(ramp)
        columns.append(column)
        left = rest
    answer, left = _fit(y, columns)
    while found:
        least = int(np.argmin(np.abs(answer[1:])))
        if abs(answer[1 + least]) >= _OVER_FLICKER * np.sqrt((left @ left + floor) / len(x)):
            break
        del found[least], columns[1 + least]
        answer, left = _fit(y, columns)
    if not found:
        return None
    ramps = [
        Ramp(ramp.first, ramp.last, float(size / np.log(2.0)), ramp.shape)
        for ramp, size in zip(found, answer[1:], strict=True)
    ]
    ramps.sort(key=lambda ramp: (ramp.first, ramp.last))
    smooth = y - left
    flicker = float(np.sqrt(left @ left / len(x)))
    extent = float((smooth.max() - smooth.min()) / np.log(2.0))
    return SlowChange(tuple(ramps), float(answer[0]), extent, flicker)


def _best_ramp(
    x: Values, y: Values, columns: list[Values], ends: list[tuple[float, float]]
) -> tuple[Ramp | None, Values]:
    """Return the ramp that explains most of what `columns` leave, and its column."""
    if not ends:
        return None, x
    base, _ = np.linalg.qr(np.stack(columns, axis=1))
    left = y - base @ (base.T @ y)
    rises = np.stack([_shape(x, first, last) for first, last in ends])
    rises -= (rises @ base) @ base.T
    power = (rises**2).sum(axis=1)
    gain = np.where(power > 1e-9, (rises @ left) ** 2 / np.maximum(power, 1e-9), 0.0)
    best: tuple[float, Ramp | None, Values] = (np.inf, None, x)
    for place in np.argsort(-gain)[:_SHAPES_TRIED]:
        for first, last in _nearby(x, *ends[place]):
            for shape in ("stops", "light") if last - first > 1 else ("stops",):
                column, size = _shaped(x, y, columns, (first, last), shape)
                rest = _fit(y, [*columns, column])[1]
                if (worth := float(rest @ rest)) < best[0] * (1 - 1e-9):
                    ramp = Ramp(int(first), int(last), size / np.log(2.0), shape)
                    best = (worth, ramp, column)
    return best[1], best[2]


def _shaped(
    x: Values, y: Values, columns: list[Values], ends: tuple[float, float], shape: str
) -> tuple[Values, float]:
    """Return the column of a ramp and its size in ln; linear in light depends on its own size."""
    column = _shape(x, *ends)
    size = float(_fit(y, [*columns, column])[0][-1])
    if shape == "light":
        for _ in range(8):
            column = _shape(x, *ends, size)
            size = float(_fit(y, [*columns, column])[0][-1])
    return column, size


def _shape(x: Values, first: float, last: float, size: float = 0.0) -> Values:
    """Return 0 to 1 between two frames: linear in ln, or in light for a change of `size` in ln."""
    rise = np.clip((x - first) / (last - first), 0.0, 1.0)
    if abs(size) < 1e-6:
        return rise
    # Bounded, so that a size that runs away while it is sought stays a number.
    size = float(np.clip(size, -7.0, 7.0))
    return np.asarray(np.log1p(rise * np.expm1(size)) / size, dtype=np.float64)


def _ends(x: Values) -> list[tuple[float, float]]:
    """Return where ramps are tried: two frames at least on either side of their middle."""
    step = max(1, -(-len(x) // _GRID))
    tried = x[::step] if x[-1] in x[::step] else np.append(x[::step], x[-1])
    return [
        (float(first), float(last))
        for place, first in enumerate(tried)
        for last in tried[place + 1 :]
        if _is_seen(x, float(first), float(last))
    ]


def _nearby(x: Values, first: float, last: float) -> list[tuple[float, float]]:
    """Return a ramp's ends and, where the grid was coarse, all between it and its neighbours."""
    step = -(-len(x) // _GRID)
    if step == 1:
        return [(first, last)]
    index = np.searchsorted(x, [first, last])
    around = [x[max(0, i - step + 1) : i + step] for i in index]
    thin = [each[:: max(1, len(each) // 4)] for each in around]
    return [(float(a), float(b)) for a in thin[0] for b in thin[1] if _is_seen(x, a, b)]


def _is_seen(x: Values, first: float, last: float) -> bool:
    if last <= first:
        return False
    rise = _shape(x, first, last)
    return bool(np.count_nonzero(rise >= 0.5) >= 2 and np.count_nonzero(rise <= 0.5) >= 2)


def _fit(y: Values, columns: list[Values]) -> tuple[Values, Values]:
    design = np.stack(columns, axis=1)
    answer = np.asarray(np.linalg.lstsq(design, y, rcond=None)[0], dtype=np.float64)
    return answer, y - design @ answer


def _by_chance(ratio: float, spent: int, spare: int) -> float:
    """Return P(sum of squares falls to `ratio` or less by chance) for an even number of parameters.

    The ratio of residual sums of squares is beta(spare / 2, spent / 2) distributed; for whole
    spent / 2 the distribution function is a finite sum (Abramowitz & Stegun 26.5.6; from memory).
    """
    half, term, total = spare / 2, 1.0, 0.0
    for step in range(spent // 2):
        total += term
        term *= (half + step) / (step + 1) * (1 - ratio)
    return float(min(1.0, ratio**half * total))


def _running_median(values: Values) -> Values:
    """Return the median of each value with its two neighbours on either side."""
    padded = np.pad(values, 2, mode="edge")
    return np.median([padded[i : i + len(values)] for i in range(5)], axis=0)
