"""Hot pixels found, by what they leave when all else changes, and mended; clipped pixels."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.codes import Image, Plane

HotMask = NDArray[np.bool_]
"""(height, width, 3): True where a sample of that channel is hot."""

_TILE_PX = 64
_BLOCK_PX = 7
"""A compressed still spreads an error over its 8 x 8 block: up to 7 pixels away."""


def find_hot_pixels(
    average: Image,
    *,
    threshold_sigmas: float = 8.0,
    lit: bool = False,
    smallest_excess: float = 0.0,
) -> HotMask:
    """Return the samples of an averaged dark or ambient that stand out of their neighbours.

    Parameters
    ----------
    average : Image
        Mean over at least a few frames, linear, any exposure. Unbalanced primaries of the
        camera, so that a hot photosite is not smeared over channels.
    threshold_sigmas : float
        Height over the median of the 8 neighbours of the same channel, in local sigmas.
    lit : bool
        False for a capped dark, where nothing but a fault can stand out. True where lamps
        or glints may be in the picture: then only lone samples count, whose neighbours
        stay below a quarter of their height, because a lens spreads an image point and a
        photosite does not.
    smallest_excess : float
        Never report less than this, in units of `average`.

    Returns
    -------
    HotMask
        Not grown. Rings that a compressed still leaves within 7 pixels of a hot one, below a
        tenth of its height, are not reported.

    Notes
    -----
    Sigma is 1.4826 times the median absolute height over tiles of 64 pixels, at least half
    of that over the whole picture. A glint that lights a single pixel can't be told from a
    hot one in a picture of one light: use `find_staying_pixels`.
    """
    height = _height_over_neighbours(average)
    limit = np.maximum(threshold_sigmas * _local_sigma(height), smallest_excess)
    hot = height > limit
    # Compression spreads a fault over channels too: pixels are compared by their tallest.
    tallest = np.where(hot, height, 0).max(axis=2, keepdims=True)
    hot &= tallest > 0.1 * _largest_near(tallest, _BLOCK_PX)
    return _leave_lone(average, hot) if lit else hot


def find_staying_pixels(
    pictures: Sequence[Image], *, threshold_sigmas: float = 6.0, smallest_excess: float = 0.0
) -> HotMask:
    """Return the samples that stand out of every picture although what they show differs.

    Parameters
    ----------
    pictures : sequence of Image
        At least two of one camera, linear, whose content differs: frames of a move some
        pixels apart, or passes lit differently with the camera locked.
    threshold_sigmas, smallest_excess : float
        As in `find_hot_pixels`, for each picture.

    Returns
    -------
    HotMask
        True where at least three quarters of the pictures (and two) show it: a lamp or a
        glint moves with the picture or goes out, a hot pixel does neither, but it may be
        hidden where one picture is bright.

    Raises
    ------
    LightError
        If fewer than two pictures are given, or their sizes differ.
    """
    if len(pictures) < 2 or len({picture.shape for picture in pictures}) > 1:
        raise LightError(
            "Places that stay can't be told from these pictures",
            seen=", ".join(f"{p.shape[1]} x {p.shape[0]}" for p in pictures) or "no picture",
            expected="at least two pictures of one size whose content differs",
            remedy="Use more frames, or find hot pixels in a dark.",
        )
    votes = np.zeros(pictures[0].shape, dtype=np.intp)
    for picture in pictures:
        votes += find_hot_pixels(
            picture,
            threshold_sigmas=threshold_sigmas,
            lit=True,
            smallest_excess=smallest_excess,
        )
    return votes >= max(2, -(-3 * len(pictures) // 4))


def mend_hot_pixels(rgb: Image, hot: HotMask, *, grow_px: int = 1) -> int:
    """Replace hot samples, in place, and return how many samples were replaced.

    Parameters
    ----------
    rgb : Image
        Changed in place; linear.
    hot : HotMask
        From `find_hot_pixels` or `find_staying_pixels`.
    grow_px : int
        Neighbours to replace too, because decoding has spread the fault to them.

    Returns
    -------
    int
        Samples replaced, each by the median of the good samples of its channel within
        2 pixels, or as far out as good ones are found.

    Raises
    ------
    LightError
        If sizes differ, or a channel has no good sample left.
    """
    if hot.shape != rgb.shape:
        raise LightError(
            "The hot-pixel mask has another size than the picture",
            seen=f"{hot.shape[1]} x {hot.shape[0]}",
            expected=f"{rgb.shape[1]} x {rgb.shape[0]}",
            remedy="Find hot pixels in a dark of the same camera mode.",
        )
    if not hot.any():
        return 0
    bad = grow_mask(hot, grow_px)
    if bad.all(axis=(0, 1)).any():
        raise LightError(
            "Every sample of a channel is marked hot",
            seen=f"{np.count_nonzero(hot)} of {hot.size} samples",
            expected="a few in ten thousand",
            remedy="Check the dark: it may be lit or overexposed.",
        )
    places = np.argwhere(bad)
    for reach in (2, 4, 8, 16, 32, max(rgb.shape)):
        places = _fill(rgb, bad, places, reach)
        if len(places) == 0:
            break
    return int(np.count_nonzero(bad))


def clip_mask(values: NDArray[np.generic], ceiling: float | Sequence[float]) -> NDArray[np.bool_]:
    """Return which pixels are clipped: a channel at or above its ceiling.

    Parameters
    ----------
    values : array, (height, width, 3)
        Codes as stored, or linear light before any gain, in the units of `ceiling`.
    ceiling : float or three float
        The clipping level; for a compressed still take it a code or two below the top.

    Returns
    -------
    bool array, (height, width)
        The share clipped is its mean.
    """
    levels = np.broadcast_to(np.asarray(ceiling), (3,))
    clipped: NDArray[np.bool_] = np.greater_equal(values[..., 0], levels[0])
    for channel in (1, 2):
        clipped |= np.greater_equal(values[..., channel], levels[channel])
    return clipped


def grow_mask(mask: HotMask, by_px: int) -> HotMask:
    """Return `mask` grown by `by_px` pixels in rows, columns and diagonals, channel by channel."""
    grown = mask.copy()
    for axis in (0, 1):
        source = grown.copy()
        for shift in range(1, by_px + 1):
            ahead = [slice(None)] * 3
            behind = [slice(None)] * 3
            ahead[axis], behind[axis] = slice(shift, None), slice(None, -shift)
            grown[tuple(ahead)] |= source[tuple(behind)]
            grown[tuple(behind)] |= source[tuple(ahead)]
    return grown


def _neighbours(picture: NDArray[np.float32]) -> list[NDArray[np.float32]]:
    """Return the 8 neighbours of every sample as views; edges are mirrored without the edge."""
    height, width = picture.shape[:2]
    around = np.pad(picture, [(1, 1), (1, 1), (0, 0)], mode="reflect")
    steps = [(r, c) for r in range(3) for c in range(3) if (r, c) != (1, 1)]
    return [around[r : r + height, c : c + width] for r, c in steps]


def _height_over_neighbours(picture: Image) -> NDArray[np.float32]:
    height: NDArray[np.float32] = np.empty_like(picture)
    rows = picture.shape[0]
    # Strips keep the stack of eight neighbours small.
    for start in range(0, rows, 128):
        low, high = max(start - 2, 0), min(start + 130, rows)
        part = picture[low:high]
        median = np.median(np.stack(_neighbours(part)), axis=0)
        stop = min(start + 128, rows)
        inner = slice(start - low, stop - low)
        height[start:stop] = part[inner] - median[inner]
    return height


def _local_sigma(height: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return each sample's sigma, (height, width, 3), from tiles of 64 pixels."""
    sigma = np.empty_like(height)
    whole = 1.4826 * np.median(np.abs(height), axis=(0, 1))
    for top in range(0, height.shape[0], _TILE_PX):
        for left in range(0, height.shape[1], _TILE_PX):
            tile = (slice(top, top + _TILE_PX), slice(left, left + _TILE_PX))
            local = 1.4826 * np.median(np.abs(height[tile]), axis=(0, 1))
            sigma[tile] = np.maximum(local, 0.5 * whole)
    return sigma


def _largest_near(picture: NDArray[np.float32], reach: int) -> NDArray[np.float32]:
    """Return the largest value within `reach` rows and columns."""
    largest = picture.copy()
    for axis in (0, 1):
        source = largest.copy()
        for shift in range(1, min(reach, picture.shape[axis] - 1) + 1):
            ahead, behind = [slice(None)] * 3, [slice(None)] * 3
            ahead[axis], behind[axis] = slice(shift, None), slice(None, -shift)
            for one, other in ((ahead, behind), (behind, ahead)):
                np.maximum(largest[tuple(one)], source[tuple(other)], out=largest[tuple(one)])
    return largest


def _leave_lone(picture: Image, hot: HotMask) -> HotMask:
    """Return the part of `hot` none of whose neighbours rises by a quarter of its height."""
    around = np.pad(picture, [(2, 2), (2, 2), (0, 0)], mode="reflect")
    row, column, channel = np.nonzero(hot)
    near: list[NDArray[np.float32]] = []
    ring: list[NDArray[np.float32]] = []
    for down in range(5):
        for across in range(5):
            if (down, across) == (2, 2):
                continue
            inner = 1 <= down <= 3 and 1 <= across <= 3
            (near if inner else ring).append(around[row + down, column + across, channel])
    lone = np.zeros_like(hot)
    if row.size:
        # The second ring is out of the image of a point; the first is on its slope.
        base = np.median(np.stack(ring), axis=0)
        height = picture[row, column, channel] - base
        lone[row, column, channel] = np.max(np.stack(near), axis=0) - base < 0.25 * height
    return lone


def _fill(rgb: Image, bad: HotMask, places: NDArray[np.intp], reach: int) -> NDArray[np.intp]:
    """Fill what has good samples within `reach`; return the places that had none."""
    left: list[NDArray[np.intp]] = []
    for place in places:
        row, column, channel = (int(i) for i in place)
        window = (
            slice(max(row - reach, 0), row + reach + 1),
            slice(max(column - reach, 0), column + reach + 1),
            channel,
        )
        good = rgb[window][~bad[window]]
        if good.size:
            rgb[row, column, channel] = np.median(good)
        else:
            left.append(place)
    return np.array(left, dtype=np.intp).reshape(-1, 3)


def clipped_share(clipped: NDArray[np.bool_] | Plane) -> float:
    """Return the share of pixels that are clipped, 0..1."""
    return float(np.count_nonzero(clipped)) / clipped.size
