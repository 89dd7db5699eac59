"""Exact displacements between two cameras of the harbour, from depth and ``truth.json`` alone.

X_cam = R X + t and pixel = K X_cam / z, as the data says; depth is z in the reference's camera.
"""

import numpy as np
from numpy.typing import NDArray

from support.harbour import HarbourShot, read_pixels

Floats = NDArray[np.float64]

DEPTH_FRAMES = (0, 5, 6)
"""Frames of the moving shot whose depth is in the data."""


def exact_flow(shot: HarbourShot, name: str, frame: int) -> Floats:
    """Return where a pass shows each pixel of the reference, less the pixel: (h, w, 2)."""
    depth = read_pixels(shot.truth / f"depth.{frame:04d}.exr")[..., 0].astype(np.float64)
    y, x = np.mgrid[: depth.shape[0], : depth.shape[1]] + 0.5
    pixels = np.stack([x, y, np.ones_like(x)], axis=-1)
    lens, turn, shift = _camera(shot, "reference", frame)
    places = (pixels @ np.linalg.inv(lens).T * depth[..., None] - shift) @ turn
    lens, turn, shift = _camera(shot, name, frame)
    seen = (places @ turn.T + shift) @ lens.T
    return np.asarray(seen[..., :2] / seen[..., 2:] - pixels[..., :2])


def rms_length(vectors: Floats) -> float:
    """Return the root mean square length of vectors, (..., 2)."""
    return float(np.sqrt(np.mean(np.sum(vectors**2, axis=-1))))


def _camera(shot: HarbourShot, name: str, frame: int) -> tuple[Floats, Floats, Floats]:
    told = shot.frame_facts(name, frame)["camera"]
    lens, turn, shift = (np.array(told[key], dtype=np.float64) for key in ("K", "R", "t"))
    return lens, turn, shift
