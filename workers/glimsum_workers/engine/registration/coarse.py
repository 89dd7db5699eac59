"""The shift to within a pixel of a quarter-size picture, whatever the light does to contrast."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.codes import Plane
from glimsum_workers.engine.metrics import box_mean
from glimsum_workers.engine.registration.prepared import Level

_LOW_PASS = 0.18
"""Cycles a pixel of the level: sigma of the Gaussian that smooths the correlation."""
_WHITENING = 0.7
_MARGIN = 4
_APART = 3
"""Pixels of the level about a peak that are its own."""


@dataclass(frozen=True)
class Coarse:
    """What the search found.

    Attributes
    ----------
    dx, dy : float
        Pixels of the full size.
    peak : float
        Height of the peak in standard deviations of the correlation about it; above 12 is sure.
    likeness : float
        Height of the next highest place, more than 3 pixels of the level away, over the peak's.
        Near 1 where a pattern repeats: then the shift is one of several.
    also_dx, also_dy : float
        Where that place lies from the peak, pixels of the full size.
    """

    dx: float
    dy: float
    peak: float
    likeness: float = 0.0
    also_dx: float = 0.0
    also_dy: float = 0.0


def search_shift(reference: Level, moving: Level, reach: int = 24) -> Coarse:
    """Find the shift of the edges of two pictures, blind to the sign and size of their contrast.

    The squared gradient ``(gx + i gy)**2`` points along an edge the same way for a light and a dark
    side exchanged; its magnitude is evened out and compressed, and the two are correlated
    with partly whitened spectra.

    Parameters
    ----------
    reference, moving : Level
        Same size.
    reach : int
        Pixels of the level that are searched each way.

    Returns
    -------
    Coarse
        Error 0.05 to 0.3 pixels of the level where the peak is above 12.
    """
    edges = [_squared_gradient(each) for each in (reference, moving)]
    if not all(np.any(each) for each in edges):
        return Coarse(0.0, 0.0, 0.0)
    spectra = [np.fft.fft2(each) for each in edges]
    cross = np.conj(spectra[0]) * spectra[1]
    power = np.abs(cross)
    cross /= np.maximum(power, power.mean() * 1e-6) ** _WHITENING
    rows, columns = cross.shape
    down, across = np.fft.fftfreq(rows)[:, None], np.fft.fftfreq(columns)[None, :]
    cross *= np.exp(-(down**2 + across**2) / (2 * _LOW_PASS**2))
    surface = np.real(np.fft.ifft2(cross))
    tall, wide = min(reach, rows // 3), min(reach, columns // 3)
    window = np.roll(surface, (tall, wide), axis=(0, 1))[: 2 * tall + 1, : 2 * wide + 1]
    row, column = (int(i) for i in np.unravel_index(np.argmax(window), window.shape))
    ground = float(np.median(surface))
    spread = float(1.4826 * np.median(np.abs(surface - ground)))
    height = float(window[row, column]) - ground
    dy = row - tall + _vertex(window[:, column], row)
    dx = column - wide + _vertex(window[row], column)
    window = window.copy()
    window[
        max(row - _APART, 0) : row + _APART + 1, max(column - _APART, 0) : column + _APART + 1
    ] = -np.inf
    also = [int(i) for i in np.unravel_index(np.argmax(window), window.shape)]
    factor = reference.factor
    return Coarse(
        dx * factor,
        dy * factor,
        height / max(spread, 1e-30),
        likeness=max((float(window[also[0], also[1]]) - ground) / max(height, 1e-30), 0.0),
        also_dx=(also[1] - column) * factor,
        also_dy=(also[0] - row) * factor,
    )


def _squared_gradient(level: Level) -> NDArray[np.complex64]:
    band = level.band.astype(np.float32)
    dy, dx = np.zeros_like(band), np.zeros_like(band)
    dx[:, 1:-1] = band[:, 2:] - band[:, :-2]
    dy[1:-1] = band[2:] - band[:-2]
    squared = ((dx + 1j * dy) ** 2).astype(np.complex64)
    if level.valid is not None:
        squared[~level.valid] = 0
    for edge in (squared, squared[::-1], squared.T, squared.T[::-1]):
        edge[:_MARGIN] = 0
    power = np.abs(squared)
    local: Plane = box_mean(power, 12)
    even = power / np.maximum(local + np.float32(0.5), 1e-6)
    scale = np.sqrt(even) / np.maximum(power, 1e-12)
    return np.asarray(squared * scale, dtype=np.complex64)


def _vertex(values: NDArray[np.float64], at: int) -> float:
    """Return how far from `at` the parabola through three samples has its top, within half."""
    if at in (0, len(values) - 1):
        return 0.0
    left, middle, right = values[at - 1 : at + 2]
    bend = left - 2 * middle + right
    return 0.0 if bend >= 0 else float(np.clip(0.5 * (left - right) / bend, -0.5, 0.5))
