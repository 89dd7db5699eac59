"""A set before a lit backing, without spill, its coverage counted on a 16 times finer raster.

Nothing here is the project's code. Each fine sample is set or backing (scikit-image's polygon
raster for outlines, the equation of the circle for disks); a pixel's coverage is the mean of its
256 samples, exact to about 1/256 along an edge.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray
from skimage.draw import polygon2mask

Light = NDArray[np.float32]

HEIGHT, WIDTH, FINE = 180, 320, 16
NOISE = 0.01
"""Noise of one frame at full backing light, standard deviation; it falls as the root of light."""


@dataclass(frozen=True)
class Silhouette:
    """One made shot; light is (height, width, 3), scene-linear."""

    coverage: Light
    """(height, width), 0..1: the truth."""
    backing: Light
    """W without noise: falls off towards the corners by a third, warmer on one side."""
    seen: Light
    """S with noise."""
    empty: Light
    """Mean of 8 noisy frames of W."""
    set_light: Light
    """The set in its own light before a dark backing, coverage included."""
    sky: Light
    """What is to be laid behind it."""

    def combined(self, weight: Light) -> Light:
        """Return the set before the sky, held out by a matte (Porter & Duff 1984, over)."""
        left = np.float32(1) - weight[..., None]
        return np.asarray(self.set_light + left * self.sky, dtype=np.float32)


@cache
def made_silhouette(seed: int = 0) -> Silhouette:
    """Return houses, masts, a ball and a fence of wires before a backing."""
    random = np.random.default_rng(seed)
    coverage = _coverage()
    y, x = np.mgrid[:HEIGHT, :WIDTH]
    u, v = x / WIDTH - 0.45, y / HEIGHT - 0.4
    level = 0.8 * (1 - 1.1 * u * u - 0.6 * v * v + 0.05 * u)
    backing = level[..., None] * np.array([1.02, 1.0, 0.97])
    seen = (1 - coverage[..., None]) * backing
    colour = np.array([0.18, 0.12, 0.09]) * (1 + 0.3 * np.sin(x / 9 + y / 7))[..., None]
    sky = np.array([0.3, 0.35, 0.5]) * (1.2 - 0.6 * y / HEIGHT)[..., None]
    return Silhouette(
        coverage=coverage.astype(np.float32),
        backing=backing.astype(np.float32),
        seen=_noisy(seen, random),
        empty=np.mean([_noisy(backing, random) for _ in range(8)], axis=0).astype(np.float32),
        set_light=(coverage[..., None] * colour).astype(np.float32),
        sky=sky.astype(np.float32),
    )


def fine_raster(
    corners: NDArray[np.float64], size: tuple[int, int], fine: int
) -> NDArray[np.bool_]:
    """Return which samples of a finer raster lie in an outline of (x, y), first pixel at 0.5."""
    shape = (size[0] * fine, size[1] * fine)
    # Samples lie at the centres of the fine pixels: (n + 0.5) / fine.
    inside = polygon2mask(shape, corners[:, ::-1] * fine - 0.5)  # type: ignore[no-untyped-call]  # scikit-image carries no types
    return np.asarray(inside, dtype=np.bool_)


def _noisy(light: NDArray[np.float64], random: np.random.Generator) -> Light:
    sigma = NOISE * np.sqrt(np.maximum(light, 0) + 0.005)
    return (light + random.normal(0, 1, light.shape) * sigma).astype(np.float32)


def _coverage() -> NDArray[np.float64]:
    ground = [(-1, 130.3), (90, 121.7), (200, 140.2), (321, 126.9), (321, 200), (-1, 200)]
    house = [(40.3, 150), (40.3, 80.6), (75.2, 55.1), (110.8, 82.3), (110.8, 150)]
    mast = [(160.2, 150), (161.4, 20.3), (163.0, 20.3), (165.1, 150)]
    gable = [(222.5, 150), (214.1, 96.2), (262.7, 90.4), (270.9, 150)]
    wires = [
        [(163, 30 + 9 * n), (240, 60 + 9 * n), (240, 60.7 + 9 * n), (163, 30.7 + 9 * n)]
        for n in range(3)
    ]
    fine: NDArray[np.bool_] = np.zeros((HEIGHT * FINE, WIDTH * FINE), dtype=np.bool_)
    for corners in map(np.array, (ground, house, mast, gable, *wires)):
        fine |= fine_raster(corners, (HEIGHT, WIDTH), FINE)
    rows = (np.arange(fine.shape[0]) + 0.5) / FINE
    columns = (np.arange(fine.shape[1]) + 0.5) / FINE
    ball = np.hypot(rows[:, None] - 40.2, columns - 280.6) < 21.3
    samples = (fine | ball).reshape(HEIGHT, FINE, WIDTH, FINE)
    return np.asarray(samples.mean(axis=(1, 3)), dtype=np.float64)
