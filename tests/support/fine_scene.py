"""A street of crates drawn eight times too fine, photographed at any eighth of a pixel.

The scene is drawn as sharp shapes on a grid of 8 x 8 cells a pixel; a lens (Gaussian, 0.45 px)
and the pixel's own square turn it into samples, whose response at Nyquist is 0.235. Moving the
camera is a cut at another cell, so that no interpolation takes part in the truth.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

CELLS = 8
LENS_PX = 0.45
MARGIN_PX = 12
BULB = 300.0


@dataclass(frozen=True)
class FineScene:
    """Light behind the lens, (cells, cells, 3), with a margin for moves and for the lens."""

    cells: NDArray[np.float32]

    def photograph(self, right: int = 0, down: int = 0) -> NDArray[np.float32]:
        """Return the samples of a camera moved by eighths of a pixel: (h, w, 3), no noise."""
        margin = MARGIN_PX * CELLS
        height, width = (size - 2 * margin for size in self.cells.shape[:2])
        cut = self.cells[
            margin + down : margin + down + height, margin + right : margin + right + width
        ]
        tall = cut.reshape(height // CELLS, CELLS, width // CELLS, CELLS, 3)
        samples: NDArray[np.float32] = tall.mean(axis=(1, 3), dtype=np.float64).astype(np.float32)
        return samples


def draw_street(height: int, width: int, seed: int, *, bulbs: int = 0) -> FineScene:
    """Return crates, posts and barrels in soft daylight; with `bulbs` at night, 300 times white."""
    random = np.random.default_rng(seed)
    rows, columns = ((size + 2 * MARGIN_PX) * CELLS for size in (height, width))
    y, x = np.mgrid[0:rows, 0:columns].astype(np.float32) / CELLS
    paint = np.full((rows, columns, 3), 0.25, np.float32)
    paint *= (0.8 + 0.2 * np.sin(x / 37 + y / 53))[..., None]
    for _ in range(height * width // 1100):
        _draw_crate(paint, random)
    for _ in range(height * width // 2500):
        inside = _disc(x, y, random, float(random.uniform(2, 9)))
        paint[inside] = random.uniform(0.05, 0.85, 3)
    if bulbs:
        paint *= 0.05
        for _ in range(bulbs):
            paint[_disc(x, y, random, float(random.uniform(0.7, 2.5)))] = BULB
    lens = LENS_PX * CELLS
    return FineScene(gaussian_filter(paint, (lens, lens, 0)).astype(np.float32))


def _draw_crate(paint: NDArray[np.float32], random: np.random.Generator) -> None:
    """Draw a crate with boards of its own tone, lit from its upper left."""
    rows, columns = paint.shape[:2]
    high, wide = (int(each) for each in random.integers(3 * CELLS, 26 * CELLS, 2))
    top, left = int(random.integers(0, rows)), int(random.integers(0, columns))
    part = paint[top : top + high, left : left + wide]
    board = int(random.integers(2 * CELLS, 7 * CELLS))
    tones = random.uniform(0.35, 1.0, 64)[np.arange(part.shape[0]) // board % 64]
    shade = np.linspace(1.0, random.uniform(0.5, 0.9), part.shape[1])
    part[...] = (tones[:, None] * shade)[..., None] * random.uniform(0.1, 0.8, 3)
    part[:: board or 1] *= 0.3


def _disc(
    x: NDArray[np.float32], y: NDArray[np.float32], random: np.random.Generator, radius: float
) -> NDArray[np.bool_]:
    middle = random.uniform(0, float(x.max())), random.uniform(0, float(y.max()))
    inside: NDArray[np.bool_] = (x - middle[0]) ** 2 + (y - middle[1]) ** 2 < radius**2
    return inside
