"""Points of light in an element (stars, drops, lamps far off), laid so that none is lost.

A kernel that keeps pictures sharp has negative lobes: a star of one pixel gets a dark ring, and
where the ring is cut off the star's light depends on where between the pixels it falls. Points
are therefore taken out and each laid by itself, with weights that are never negative and sum to 1
wherever it falls.
"""

from math import ceil

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.elements.placing import Matrix, jacobians, map_places
from glimsum_workers.engine.resample.ring_limits import window_extreme

_CONTRAST = np.float32(2.0)
_NOISE = np.float32(4.0)


def split_points(channels: NDArray[np.float32]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return a picture without its points and thin lines of light, and these alone.

    Parameters
    ----------
    channels : float32 array, (height, width, channels)
        Premultiplied, linear, finite.

    Returns
    -------
    rest : float32 array, as `channels`
        Without the points; the sum of both is the picture to float32 rounding.
    points : float32 array, as `channels`
        0 or more. What is narrower than 3 pixels counts as a point by what it has above twice its
        surroundings (an opening over 3 x 3 samples) and above the noise: 4 times the median of
        what the opening takes away.
    """
    rest, points = np.empty_like(channels), np.empty_like(channels)
    step = 4 if min(channels.shape[:2]) >= 256 else 1
    for channel in range(channels.shape[2]):
        plane = channels[..., channel : channel + 1]
        opened = _spread(np.maximum, _spread(np.minimum, plane))
        noise = np.median((plane - opened)[::step, ::step])
        limit = _CONTRAST * np.maximum(opened, 0) + _NOISE * np.float32(noise)
        np.maximum(limit, opened, out=limit)
        np.subtract(plane, limit, out=limit)
        points[..., channel : channel + 1] = np.maximum(limit, np.float32(0), out=limit)
        np.subtract(plane, limit, out=rest[..., channel : channel + 1])
    return rest, points


def lay_points(
    points: NDArray[np.float32], matrix: Matrix, origin: tuple[int, int], size: tuple[int, int]
) -> NDArray[np.float32]:
    """Lay every point where a homography takes it.

    Parameters
    ----------
    points : float32 array, (height, width, channels)
        From `split_points`.
    matrix : Matrix
        From the element's pixels to those of the reference picture.
    origin : tuple of int
        Row and column of the reference picture the result begins at.
    size : tuple of int
        (height, width) of the result.

    Returns
    -------
    float32 array, (*size, channels)
        The light of a point, times the area its pixel takes, is laid on the four nearest pixels
        by their nearness; magnified, as a soft spot of its size. The sum over all pixels is that
        of the points to float32 rounding wherever they fall; a whole shift moves them as they
        are.
    """
    count = points.shape[2]
    laid = np.zeros((size[0] * size[1], count), np.float32)
    row, column = np.nonzero(points.any(axis=2))
    light = points[row, column].astype(np.float64)
    x = np.asarray(column + 0.5, np.float64)
    y = np.asarray(row + 0.5, np.float64)
    area = np.linalg.det(jacobians(matrix, x, y)) if len(x) else np.zeros(0)
    light *= area[:, None]
    to_x, to_y = map_places(matrix, x, y)
    to_x, to_y = to_x - origin[1], to_y - origin[0]
    wide = np.maximum(np.sqrt(area), 1.0)
    near = (
        (to_x > -wide - 1)
        & (to_x < size[1] + wide + 1)
        & (to_y > -wide - 1)
        & (to_y < size[0] + wide + 1)
    )
    to_x, to_y, wide, light = to_x[near], to_y[near], wide[near], light[near]
    if not len(wide):
        return laid.reshape(*size, count)
    reach = ceil(float(wide.max()))
    offsets = range(-reach, reach + 1)
    left, top = np.floor(to_x), np.floor(to_y)
    across = [_weights(left + step - to_x, wide) for step in offsets]
    for step, down in zip(offsets, [_weights(top + s - to_y, wide) for s in offsets], strict=True):
        to_row = (top + step).astype(np.intp)
        for sideways, weight in zip(offsets, across, strict=True):
            to_column = (left + sideways).astype(np.intp)
            both = down * weight
            held = (both > 0) & (to_row >= 0) & (to_row < size[0])
            held &= (to_column >= 0) & (to_column < size[1])
            if held.any():
                place = to_row[held] * size[1] + to_column[held]
                for channel in range(count):
                    laid[:, channel] += np.bincount(
                        place, light[held, channel] * both[held], len(laid)
                    )
    return laid.reshape(*size, count)


def _weights(start: NDArray[np.float64], wide: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the share of a spot that falls on the pixel from `start` on, seen from its middle."""
    share: NDArray[np.float64] = _below(start + 1, wide) - _below(start, wide)
    return share


def _below(end: NDArray[np.float64], wide: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the share of a spot below `end`: a box of `wide`, softened by one of `wide` - 1."""
    soft = wide - 1
    outer, inner = (wide + soft) / 2, (wide - soft) / 2
    ramp = [np.maximum(end + sign, 0) ** 2 for sign in (outer, inner, -inner, -outer)]
    smooth = (ramp[0] - ramp[1] - ramp[2] + ramp[3]) / (2 * wide * np.maximum(soft, 1e-6))
    share: NDArray[np.float64] = np.where(soft > 1e-6, smooth, np.clip(end / wide + 0.5, 0, 1))
    return share


def _spread(pick: np.ufunc, channels: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the extreme over 3 x 3 samples, edges repeated."""
    padded = np.pad(channels, [(1, 1), (1, 1), (0, 0)], mode="edge")
    return window_extreme(pick, window_extreme(pick, padded, 3, 0), 3, 1)
