"""Pictures at a whole fraction of their size, and back."""

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.codes import Image


def reduce_picture(rgb: Image, factor: int) -> Image:
    """Return the means of square blocks, edges repeated to fill the last ones.

    Parameters
    ----------
    rgb : Image
        Any linear quantity.
    factor : int
        Side of a block in pixels, from 1.

    Returns
    -------
    Image
        (ceil(height / factor), ceil(width / factor), 3), float32.
    """
    height, width = rgb.shape[:2]
    padding = [(0, -height % factor), (0, -width % factor), (0, 0)]
    whole = np.pad(rgb, padding, mode="edge") if any(right for _, right in padding) else rgb
    rows, columns = whole.shape[0] // factor, whole.shape[1] // factor
    tall = whole.reshape(rows, factor, columns * factor, 3).sum(axis=1, dtype=np.float32)
    wide = tall.reshape(rows, columns, factor, 3).sum(axis=2, dtype=np.float32)
    return np.asarray(wide / np.float32(factor * factor), dtype=np.float32)


def enlarge_picture(rgb: Image, height: int, width: int, factor: int) -> Image:
    """Return a reduced picture at its old size, linear between the centres of its blocks.

    Parameters
    ----------
    rgb : Image
        From `reduce_picture`.
    height, width : int
        Size wanted, pixels.
    factor : int
        As it was reduced.

    Returns
    -------
    Image
        (height, width, 3), float32; a ramp comes back as a ramp, but for half a block at the
        edges, where the last block is repeated.
    """
    return _stretch(_stretch(rgb, 0, height, factor), 1, width, factor)


def _stretch(picture: Image, axis: int, size: int, factor: int) -> Image:
    place = np.clip((np.arange(size) + 0.5) / factor - 0.5, 0, picture.shape[axis] - 1)
    low = np.minimum(place.astype(np.intp), max(picture.shape[axis] - 2, 0))
    high = np.minimum(low + 1, picture.shape[axis] - 1)
    share: NDArray[np.float32] = (place - low).astype(np.float32)
    share = share.reshape(-1, *[1] * (picture.ndim - axis - 1))
    lower, upper = np.take(picture, low, axis=axis), np.take(picture, high, axis=axis)
    return np.asarray(lower + share * (upper - lower), dtype=np.float32)
