"""Rectangles of samples that may reach beyond the picture, where its edges repeat."""

import numpy as np
from numpy.typing import NDArray


def cut_samples(
    channels: NDArray[np.float32], top: int, bottom: int, left: int, right: int
) -> NDArray[np.float32]:
    """Return the samples of rows ``top:bottom`` and columns ``left:right``.

    Parameters
    ----------
    channels : float32 array, (height, width, channels)
    top, bottom, left, right : int
        Counted from the first sample; may be negative or beyond the last one.

    Returns
    -------
    float32 array, (bottom - top, right - left, channels)
        A view where the rectangle lies within the picture; else edges repeat.
    """
    height, width = channels.shape[:2]
    part = channels
    if top < 0 or bottom > height:
        part = part[np.clip(np.arange(top, bottom), 0, height - 1)]
    else:
        part = part[top:bottom]
    if left >= 0 and right <= width:
        return part[:, left:right]
    first, last = min(max(left, 0), width - 1), max(min(right, width), 1)
    before, after = max(-left, 0), max(right - width, 0)
    if first < last:
        return np.pad(part[:, first:last], [(0, 0), (before, after), (0, 0)], mode="edge")[
            :, : right - left
        ]
    return part[:, np.clip(np.arange(left, right), 0, width - 1)]
