"""Luma codes of ITU-R BT.709, and how far a coder has displaced the picture they show."""

import cv2
import numpy as np

from support.clutter import Floats
from support.coded import Luma

_BLACK, _SPAN = 16, 219
"""In codes of 8 bits (ITU-R BT.709, 4.6)."""


def as_luma(linear: Floats, bits: int = 8) -> Luma:
    """Return codes of 8 or 10 bits of light that clips at 1."""
    held = np.clip(linear, 0, 1)
    signal = np.where(held < 0.018, 4.5 * held, 1.099 * held**0.45 - 0.099)
    codes = np.rint((_BLACK + _SPAN * signal) * 2 ** (bits - 8))
    words: Luma = codes.astype(np.uint8) if bits == 8 else codes.astype(np.uint16)
    return words


def from_luma(luma: Luma) -> Floats:
    """Return the light of codes of 8 bits, or, in 16-bit words, of 10."""
    codes = luma.astype(np.float64) / (1 if luma.dtype == np.uint8 else 4)
    signal = (codes - _BLACK) / _SPAN
    high = ((np.maximum(signal, 0.081) + 0.099) / 1.099) ** (1 / 0.45)
    return np.where(signal < 0.081, signal / 4.5, high).astype(np.float32)


def coder_shift(given: Luma, coded: Luma) -> tuple[float, float]:
    """Return dx, dy (pixels) by which a coder displaced a picture: where its points went.

    OpenCV's `findTransformECC` (Evangelidis & Psarakis 2008, doi 10.1109/TPAMI.2008.113), from
    rest: both show the same moment in the same light.
    """
    still, moved = (each.astype(np.float32) for each in (given, coded))
    rest = np.eye(2, 3, dtype=np.float32)
    until = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 200, 1e-8)
    whole = np.ones(given.shape, dtype=np.uint8)
    _, warp = cv2.findTransformECC(still, moved, rest, cv2.MOTION_TRANSLATION, until, whole, 3)
    found = np.asarray(warp)
    return float(found[0, 2]), float(found[1, 2])
