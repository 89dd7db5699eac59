"""Where a resampled lamp would ring, and how far a new sample may go there.

A kernel with negative lobes draws a dark ring round a lamp, below zero if the lamp is bright
enough. New samples beside a lamp are therefore kept within the source samples next to them.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.codes import Image
from glimsum_workers.engine.resample.kernels import TAPS

Limits = tuple[NDArray[np.float32], NDArray[np.float32]]
"""Lowest and highest value that a new sample may have."""

BLOCK_PX = 4
_MANY_BLOCKS = 1 << 12
"""From here on compiled code is worth loading."""
_CONTRAST = np.float32(2.0)
_QUIET_RANGES = 7.0


@dataclass(frozen=True)
class RingRule:
    """What counts as a lamp in one picture, and where new samples are limited.

    The rule: a new sample is limited where, in one channel, the brightest source sample of its
    own block of 4 x 4 and of the blocks around exceeds twice the darkest by more than `floor`.
    These blocks hold every sample under its kernel. Ordinary noise never does so, as `floor`
    is seven times the range of the picture's quiet blocks, 17 standard deviations or more.

    Attributes
    ----------
    floor : float
        Light; of the noisiest channel.
    lamps : bool array, (block rows, block columns)
        Blocks in which new samples are limited.
    near : int
        Side of the square of nearest source samples: 2, or more for a wider kernel.
    """

    floor: float
    lamps: NDArray[np.bool_]
    near: int = 2

    def block(self, sample: NDArray[np.intp], axis: int) -> NDArray[np.intp]:
        """Return the blocks of samples counted along an axis, the last one for those beyond."""
        found: NDArray[np.intp] = np.clip(sample // BLOCK_PX, 0, self.lamps.shape[axis] - 1)
        return found


def find_ring_rule(rgb: Image, taps: int = TAPS) -> RingRule:
    """Return the rule for one picture.

    Parameters
    ----------
    rgb : Image
        Scene-linear, finite.
    taps : int
        Side of the kernel that will be used.

    Returns
    -------
    RingRule
        The quiet blocks are the tenth percentile of those that vary at all.
    """
    high, low = (_block_extremes(pick, rgb) for pick in (np.maximum, np.minimum))
    return rule_of(high, low, taps)


def rule_of(high: NDArray[np.float32], low: NDArray[np.float32], taps: int = TAPS) -> RingRule:
    """Return the rule of a picture from the extremes of its blocks of 4 x 4 pixels.

    Parameters
    ----------
    high, low : float32 array, (channels, block rows, block columns)
        Scene-linear; cut blocks at the lower and right edge have their own.
    taps : int
        Side of the kernel that will be used.

    Returns
    -------
    RingRule
        As `find_ring_rule`.
    """
    spans = (high[:, ::3, ::3] - low[:, ::3, ::3]).reshape(len(high), -1)
    quiet = [np.percentile(each[each > 0], 10) for each in spans if each.any()]
    floor = float(_QUIET_RANGES * max(quiet, default=0.0))
    reach = -(-taps // (2 * BLOCK_PX))
    if reach == 1 and high[0].size >= _MANY_BLOCKS:
        return RingRule(floor, _lamps_quickly(high, low, floor))
    for axis in (1, 2):
        padding = [(reach, reach) if each == axis else (0, 0) for each in range(3)]
        high = window_extreme(np.maximum, np.pad(high, padding, mode="edge"), 2 * reach + 1, axis)
        low = window_extreme(np.minimum, np.pad(low, padding, mode="edge"), 2 * reach + 1, axis)
    limit = _CONTRAST * np.maximum(low, 0) + np.float32(floor)
    lamps: NDArray[np.bool_] = np.any(high > limit, axis=0)
    return RingRule(floor, lamps, 2 * -(-taps // TAPS))


def _lamps_quickly(
    high: NDArray[np.float32], low: NDArray[np.float32], floor: float
) -> NDArray[np.bool_]:
    from glimsum_workers.engine.compiled.extremes import find_lamps  # noqa: PLC0415  # costs 0.5 s

    lamps = np.empty(high.shape[1:], np.bool_)
    find_lamps(np.ascontiguousarray(high), np.ascontiguousarray(low), np.float32(floor), lamps)
    return lamps


def limit_cells(samples: NDArray[np.float32], near: int) -> Limits:
    """Return the extremes of every square of `near` x `near` samples.

    Parameters
    ----------
    samples : float32 array, (height, width, channels)
    near : int

    Returns
    -------
    Limits
        Lowest and highest value, each (height - near + 1, width - near + 1, channels).

    Notes
    -----
    Both sides are limited alike, for what a kernel takes round a lamp it adds on it: on a night
    scene with clipped bulbs that give most of the light, the sum of all light stays within
    0.25 %, in the mean 0.05 %; on the harbour's practicals 0.11 to 0.23 % are added, on passes
    without bulbs at most 0.02 %. Room of a tenth on either side would leave the overshoot in
    and add 0.6 %.
    """
    rows = [window_extreme(pick, samples, near, 0) for pick in (np.minimum, np.maximum)]
    return window_extreme(np.minimum, rows[0], near, 1), window_extreme(
        np.maximum, rows[1], near, 1
    )


def window_extreme(
    pick: np.ufunc, samples: NDArray[np.float32], size: int, axis: int
) -> NDArray[np.float32]:
    """Return the extreme of every `size` neighbours along `axis`; shorter by ``size - 1``.

    Parameters
    ----------
    pick : ufunc
        ``np.maximum`` or ``np.minimum``.
    samples : float32 array
    size : int
        From 1 to the length of the axis.
    axis : int

    Returns
    -------
    float32 array
        By doubling: log2(size) + 1 passes.
    """
    done = 1
    while done < size:
        step = min(done, size - done)
        count = samples.shape[axis] - step
        lower = samples[(slice(None),) * axis + (slice(0, count),)]
        upper = samples[(slice(None),) * axis + (slice(step, None),)]
        samples = np.asarray(pick(lower, upper), dtype=np.float32)
        done += step
    return samples


def _block_extremes(pick: np.ufunc, rgb: Image) -> NDArray[np.float32]:
    """Return the extreme of every block, of the cut ones at the lower and right edge too."""
    whole = len(rgb) // BLOCK_PX * BLOCK_PX
    tall = [pick.reduce(rgb[:whole].reshape(-1, BLOCK_PX, *rgb.shape[1:]), axis=1)]
    if whole < len(rgb):
        tall.append(pick.reduce(rgb[whole:], axis=0, keepdims=True))
    lines = np.concatenate(tall)
    missing = -lines.shape[1] % BLOCK_PX
    if missing:
        lines = np.pad(lines, [(0, 0), (0, missing), (0, 0)], mode="edge")
    wide = window_extreme(pick, lines, BLOCK_PX, 1)
    return np.ascontiguousarray(np.moveaxis(wide[:, ::BLOCK_PX], 2, 0))
