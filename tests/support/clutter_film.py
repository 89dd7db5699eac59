"""The quay as a camera records it: lens, a true motion, noise, clipping, 10-bit codes.

Motions are put in on the grid of twice the picture's size, after the lens has limited its detail:
shifts by Fourier's theorem, rotation and scale by SciPy's spline of degree 5 (the product uses
neither).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import fourier_shift, gaussian_filter, map_coordinates

from support.clutter import Floats

MARGIN = 16
"""Pixels by which the cast picture is larger on each side than the one recorded."""
CLIP_ELECTRONS = 15000.0
READ_ELECTRONS = 4.0
_CODES = 1023
_TOE = 40.0


@dataclass(frozen=True)
class Recorded:
    """Linear light as decoded (clip at 1), and which pixels were clipped."""

    light: Floats
    clipped: NDArray[np.bool_]


def through_lens(fine: Floats) -> Floats:
    """Blur by a Gaussian of 0.45 picture pixels, on the fine grid."""
    return np.asarray(gaussian_filter(fine, 0.9, mode="nearest"), dtype=np.float32)


def move_camera(
    fine: Floats, dx: float, dy: float, rotation_deg: float = 0.0, scale: float = 1.0
) -> Floats:
    """Return the picture seen when p_pass = c + scale Rot (p_ref - c) + (dx, dy), margin cut."""
    if rotation_deg == 0 and scale == 1:
        spectrum = fourier_shift(np.fft.rfft2(fine), (2 * dy, 2 * dx), n=fine.shape[1])
        moved = np.fft.irfft2(spectrum, s=fine.shape).astype(np.float32)
    else:
        height, width = fine.shape
        y, x = np.mgrid[:height, :width] + 0.5
        x, y = x - width / 2 - 2 * dx, y - height / 2 - 2 * dy
        angle = np.deg2rad(rotation_deg)
        back = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]]) / scale
        from_x = back[0, 0] * x + back[0, 1] * y + width / 2 - 0.5
        from_y = back[1, 0] * x + back[1, 1] * y + height / 2 - 0.5
        moved = map_coordinates(fine, [from_y, from_x], order=5, mode="nearest").astype(np.float32)
    inner = moved[2 * MARGIN : -2 * MARGIN, 2 * MARGIN : -2 * MARGIN]
    rows, columns = inner.shape[0] // 2, inner.shape[1] // 2
    pixels = inner.reshape(rows, 2, columns, 2).mean(axis=(1, 3))
    return np.asarray(pixels, dtype=np.float32)


def record(light: Floats, seed: int, *, exposure: float = 1.0) -> Recorded:
    """Expose, add shot and read noise, clip at 1, code logarithmically in 10 bits, decode.

    The light that comes back is divided by the exposure again.
    """
    random = np.random.default_rng(seed)
    mean = np.clip(light * exposure, 0, 2) * CLIP_ELECTRONS
    electrons = random.poisson(mean) + random.normal(0, READ_ELECTRONS, mean.shape)
    signal = np.clip(electrons, -_TOE * 0.9, CLIP_ELECTRONS)
    top = np.log2(1 + CLIP_ELECTRONS / _TOE)
    low = np.log2(0.1)
    codes = np.rint((np.log2(1 + signal / _TOE) - low) / (top - low) * _CODES)
    decoded = (np.exp2(codes / _CODES * (top - low) + low) - 1) * _TOE
    back = decoded / CLIP_ELECTRONS / exposure
    return Recorded(
        back.astype(np.float32), np.asarray(electrons >= CLIP_ELECTRONS, dtype=np.bool_)
    )
