"""Photographs bundled with scikit-image, cut twice at a known offset: nothing is interpolated.

Whole offsets are cuts of the same pixels. With the mean of 2 x 2 pixels taken afterwards, an odd
cut is half a pixel apart, exactly.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter
from skimage import data

Light = NDArray[np.float32]

PHOTOS = ("astronaut", "brick", "camera", "coffee", "gravel")
MARGIN = 16
"""Largest offset, pixels of the photograph."""


def photograph(name: str, soft_px: float = 0.0) -> NDArray[np.float64]:
    """Return a photograph as linear light, 0..1, through a soft lens (sigma in its pixels)."""
    codes = np.asarray(getattr(data, name)(), dtype=np.float64)
    grey = codes if codes.ndim == 2 else codes[..., :3].mean(axis=2)
    return np.asarray(gaussian_filter((grey / 255) ** 2.2, soft_px), dtype=np.float64)


def cut(plane: NDArray[np.float64], right: int, down: int, seed: int, *, halved: bool) -> Light:
    """Return the window moved right and down, with a camera's own noise (15 000 e at white)."""
    height, width = (size // 2 * 2 - 2 * MARGIN for size in plane.shape)
    window = plane[MARGIN + down : MARGIN + down + height, MARGIN + right : MARGIN + right + width]
    if halved:
        window = window.reshape(height // 2, 2, width // 2, 2).mean(axis=(1, 3))
    noise = np.random.default_rng(seed).standard_normal(window.shape)
    return (window + noise * np.sqrt(window / 15000 + 7e-8)).astype(np.float32)
