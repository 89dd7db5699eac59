"""A second opinion on the shift: correlation of whitened spectra."""

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.codes import Plane
from glimsum_workers.engine.registration.prepared import Level, Prepared

_MOST_PIXELS = 700_000
_BAND = (0.02, 0.25)
"""Cycles a pixel: what lies below is light, above mostly noise and alias."""
_SEARCH = 3
_TAPER = 0.1


def correlate_phases(
    reference: Prepared, moving: Prepared, near: tuple[float, float]
) -> tuple[float, float] | None:
    """Find the shift at which most frequencies of two pictures agree, each counted alike.

    Where paint follows relief (dark grooves), light from the side moves edges that the tiles trust;
    whitening gives fine texture more say there.

    Parameters
    ----------
    reference, moving : Prepared
        Same size.
    near : tuple of float
        dx, dy about which is searched, 3 pixels of the level each way; pixels of the full size.

    Returns
    -------
    tuple of float or None
        dx, dy, pixels of the full size; None where there is nothing to correlate. The usual error
        is 0.02 to 0.1 pixels; rotation and scale are not allowed for.

    References
    ----------
    Kuglin & Hines 1975 (from memory). The top is found by Newton steps on the correlation itself,
    so it isn't tied to a grid.
    """
    pairs = zip(reference.levels, moving.levels, strict=True)
    still, other = next((p for p in pairs if p[0].band.size <= _MOST_PIXELS), (None, None))
    if still is None or other is None:
        still, other = reference.levels[-1], moving.levels[-1]
    x, y = near[0] / still.factor, near[1] / still.factor
    # Both are cut to what they have in common, so that the taper falls on the same things.
    column, row = round(x), round(y)
    first, second = _overlap(still, other, row, column)
    if min(first.shape) < 24:
        return None
    spectra = [np.fft.rfft2(each * _taper(each.shape)) for each in (first, second)]
    cross = np.conj(spectra[0]) * spectra[1]
    size = np.abs(cross)
    if not size.max() > 0:
        return None
    down, across, weight = _weigh_frequencies(*first.shape)
    cross *= weight / np.maximum(size, 1e-6 * size.max())
    # Frequencies beyond weigh next to nothing.
    rows, columns = np.abs(down) < _BAND[1] * 1.5, across < _BAND[1] * 1.5
    kept = cross[rows][:, columns].astype(np.complex128)
    start = _start(kept, down[rows], across[columns])
    found = _climb(kept, down[rows], across[columns], start)
    if found is None:
        return None
    return (column + found[0]) * still.factor, (row + found[1]) * still.factor


def _overlap(still: Level, other: Level, row: int, column: int) -> tuple[Plane, Plane]:
    height, width = still.band.shape
    here, there = [], []
    for length, by in ((height, row), (width, column)):
        kept = _quick_length(max(length - abs(by), 0))
        first = max(0, -by) + (length - abs(by) - kept) // 2
        here.append(slice(first, first + kept))
        there.append(slice(first + by, first + by + kept))
    return (
        still.band[tuple(here)].astype(np.float32),
        other.band[tuple(there)].astype(np.float32),
    )


def _quick_length(most: int) -> int:
    """Return the largest length up to `most` with no prime factor above 5."""
    for length in range(most, 0, -1):
        rest = length
        for factor in (2, 3, 5):
            while rest % factor == 0:
                rest //= factor
        if rest == 1:
            return length
    return 0


@lru_cache(maxsize=4)
def _weigh_frequencies(
    height: int, width: int
) -> tuple[NDArray[np.float64], NDArray[np.float64], Plane]:
    """Return the frequencies down and across, cycles a pixel, and what each pair of them weighs."""
    down: NDArray[np.float64] = np.fft.fftfreq(height).astype(np.float64)
    across: NDArray[np.float64] = np.fft.rfftfreq(width).astype(np.float64)
    radius = np.hypot(down[:, None], across[None, :])
    weight = np.exp(-0.5 * (radius / _BAND[1] * 2) ** 2) * (radius > _BAND[0])
    return down, across, np.asarray(weight, dtype=np.float32)


@lru_cache(maxsize=4)
def _taper(shape: tuple[int, ...]) -> Plane:
    sides = []
    for length in shape:
        reach = max(int(length * _TAPER), 4)
        side = np.ones(length, dtype=np.float32)
        rise = 0.5 - 0.5 * np.cos(np.pi * (np.arange(reach) + 0.5) / reach)
        side[:reach], side[-reach:] = rise, rise[::-1]
        sides.append(side)
    return np.asarray(sides[0][:, None] * sides[1][None, :], dtype=np.float32)


def _start(
    cross: NDArray[np.complex128], down: NDArray[np.float64], across: NDArray[np.float64]
) -> tuple[int, int]:
    """Return the whole shift dx, dy of the largest correlation of either sign nearby."""
    steps = np.arange(-_SEARCH, _SEARCH + 1)
    doubled = np.where(across > 0, 2.0, 1.0)
    by_row = np.exp(2j * np.pi * np.outer(steps, down))
    by_column = np.exp(2j * np.pi * np.outer(across, steps)) * doubled[:, None]
    window = np.real(by_row @ cross @ by_column)
    row, column = np.unravel_index(np.argmax(np.abs(window)), window.shape)
    return int(column) - _SEARCH, int(row) - _SEARCH


def _climb(
    cross: NDArray[np.complex128],
    down: NDArray[np.float64],
    across: NDArray[np.float64],
    start: tuple[int, int],
) -> tuple[float, float] | None:
    """Climb to the top of |correlation|; None where it has none within a pixel of the start."""
    place = np.array(start, dtype=np.float64)
    # The half plane left out by the real transform is the mirror of the one kept.
    doubled = np.where(across > 0, 2.0, 1.0)
    x, y = 2 * np.pi * across, 2 * np.pi * down
    for _ in range(8):
        by_row = np.exp(1j * y * place[1])
        by_column = np.exp(1j * x * place[0]) * doubled
        moments = np.stack([by_row, 1j * y * by_row, -(y**2) * by_row]) @ cross
        columns = np.stack([by_column, 1j * x * by_column, -(x**2) * by_column])
        value = np.real(moments @ columns.T)
        slope = np.array([value[0, 1], value[1, 0]])
        bend = np.array([[value[0, 2], value[1, 1]], [value[1, 1], value[2, 0]]])
        if value[0, 0] < 0:
            slope, bend = -slope, -bend
        if not (bend[0, 0] < 0 and np.linalg.det(bend) > 0):
            return None
        change = np.clip(-np.linalg.solve(bend, slope), -0.5, 0.5)
        place += change
        if np.abs(place - start).max() > 1.5:
            return None
        if np.abs(change).max() < 1e-4:
            break
    return float(place[0]), float(place[1])
