"""The warp of a screen insert: every pixel of the shot weighs all it looks at, in light."""

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.codes import Picture
from glimsum_workers.engine.elements.soften import reach_of, soften
from glimsum_workers.engine.inserts.footprint import MOST_SAMPLES, Laid, lay_corners
from glimsum_workers.engine.mattes.outline import cover_outline
from glimsum_workers.engine.planar.homography import Points

_TILE = 64
_LEAST_SAMPLES = 2
_FINE_ENOUGH = 4.0
"""Pixels of the picture to one of the shot that are left where it is made smaller first."""
_MOST_AT_ONCE = 32_000

Channels = NDArray[np.float32]
"""float32, (channels, height, width): premultiplied R, G, B, and coverage where it isn't 1."""


def warp_insert(
    picture: Picture, corners: Points, size: tuple[int, int], *, softness_px: float = 0.0
) -> Picture:
    """Lay a picture on four corners in the shot.

    Parameters
    ----------
    picture : Picture
        Premultiplied, scene-linear, finite, any size.
    corners : Points, (4, 2)
        Where its top left, top right, bottom right and bottom left corner lie in the shot,
        pixels, pixel centres at 0.5.
    size : tuple of int
        (height, width) of the shot, pixels.
    softness_px : float
        Standard deviation of the Gaussian that picture and edge are softened by, 0 or more.

    Returns
    -------
    Picture
        Premultiplied, (height, width); 0 outside the insert. Coverage at the edges is the area
        of the pixel that the insert covers, exact to 1e-6. Against 32 x 32 samples a pixel of a
        zone plate and a checkerboard, made smaller or seen steeply: 0.01 rms of their amplitude.

    Raises
    ------
    LightError
        The corners make no surface (`footprint.lay_corners`).

    Notes
    -----
    A pixel of the shot is taken as the square it is: as many samples, evenly spaced in it, as it
    spans pixels of the picture along each of its two sides and never fewer than 2, read by Keys'
    cubic where these are enough and along straight lines where there are more. Where every pixel
    of the shot spans more than eight of the picture, that is halved first, by means of 2 x 2.
    Beyond 48 samples a side the rest is left out: that takes a surface of which the far end is
    seen 24 times more steeply than the near one.

    References
    ----------
    Heckbert 1989, Fundamentals of Texture Mapping and Image Warping (footprints).
    Keys 1981, doi 10.1109/TASSP.1981.1163711 (the cubic).
    """
    reach = reach_of(softness_px)
    wide = (size[0] + 2 * reach, size[1] + 2 * reach)
    laid = lay_corners(corners + reach, picture.rgb.shape[:2])
    channels = _as_channels(picture)
    covered = cover_outline(laid.corners, wide)
    result = np.zeros((len(channels), *wide), np.float32)
    box = _box_of(covered)
    if box is not None:
        channels, laid = _halved(channels, laid, covered, box)
        for tile in _tiles(box):
            _fill_tile(result, channels, laid, covered, tile)
    result *= covered
    whole = result if len(result) == 4 else np.concatenate([result, covered[np.newaxis]])
    made = soften(np.ascontiguousarray(np.moveaxis(whole, 0, 2)), softness_px)
    return Picture(np.ascontiguousarray(made[..., :3]), np.clip(made[..., 3], 0, 1))


def _as_channels(picture: Picture) -> Channels:
    planes = [np.moveaxis(picture.rgb, 2, 0)]
    if picture.alpha is not None:
        planes.append(picture.alpha[np.newaxis])
    return np.ascontiguousarray(np.concatenate(planes), dtype=np.float32)


def _box_of(covered: NDArray[np.float32]) -> tuple[slice, slice] | None:
    rows, columns = np.flatnonzero(covered.any(axis=1)), np.flatnonzero(covered.any(axis=0))
    if not rows.size:
        return None
    return slice(int(rows[0]), int(rows[-1]) + 1), slice(int(columns[0]), int(columns[-1]) + 1)


def _tiles(box: tuple[slice, slice]) -> list[tuple[slice, slice]]:
    rows, columns = box
    return [
        (slice(y, min(y + _TILE, rows.stop)), slice(x, min(x + _TILE, columns.stop)))
        for y in range(rows.start, rows.stop, _TILE)
        for x in range(columns.start, columns.stop, _TILE)
    ]


def _halved(
    channels: Channels, laid: Laid, covered: NDArray[np.float32], box: tuple[slice, slice]
) -> tuple[Channels, Laid]:
    """Return the picture halved while every pixel spans more than eight of it."""
    y, x = np.nonzero(covered[box])
    wide, tall = laid.stretch(x + box[1].start + 0.5, y + box[0].start + 0.5)
    least = float(min(wide.min(), tall.min()))
    matrix = laid.to_picture
    while least >= 2 * _FINE_ENOUGH and min(channels.shape[1:]) > 1:
        height, width = channels.shape[1:]
        even = np.pad(channels, ((0, 0), (0, height % 2), (0, width % 2)), mode="edge")
        tall_half = even[:, ::2] + even[:, 1::2]
        quarter = (tall_half[..., ::2] + tall_half[..., 1::2]) * np.float32(0.25)
        channels = np.asarray(quarter, dtype=np.float32)
        matrix, least = np.diag([0.5, 0.5, 1.0]) @ matrix, least / 2
    return channels, Laid(laid.corners, matrix)


def _fill_tile(
    result: Channels,
    channels: Channels,
    laid: Laid,
    covered: NDArray[np.float32],
    tile: tuple[slice, slice],
) -> None:
    row, column = np.nonzero(covered[tile])
    if not row.size:
        return
    row, column = row + tile[0].start, column + tile[1].start
    wide, tall = laid.stretch(column + 0.5, row + 0.5)
    across = int(np.clip(np.ceil(wide.max()), _LEAST_SAMPLES, MOST_SAMPLES))
    down = int(np.clip(np.ceil(tall.max()), _LEAST_SAMPLES, MOST_SAMPLES))
    read = read_cubic if across * down <= _LEAST_SAMPLES**2 else read_linear
    step_x = ((np.arange(across) + 0.5) / across)[np.newaxis, :, np.newaxis]
    step_y = ((np.arange(down) + 0.5) / down)[:, np.newaxis, np.newaxis]
    at_once = max(_MOST_AT_ONCE // (across * down), 1)
    for first in range(0, row.size, at_once):
        part = slice(first, first + at_once)
        x, y = np.broadcast_arrays(column[part] + step_x, row[part] + step_y)
        planes = read(channels, *laid.places(x.ravel(), y.ravel()))
        means = planes.reshape(len(planes), across * down, -1).mean(axis=1)
        result[: len(planes), row[part], column[part]] = means


def read_cubic(
    channels: Channels, x: NDArray[np.float64], y: NDArray[np.float64]
) -> NDArray[np.float32]:
    """Return a picture at places between its samples by Keys' cubic; edges are repeated.

    Parameters
    ----------
    channels : Channels, (channels, height, width)
    x, y : float64 array, (n,)
        Pixels, pixel centres at 0.5.

    Returns
    -------
    float32 array, (channels, n)
        Exact for parabolas, to float32 rounding.

    References
    ----------
    Keys 1981, doi 10.1109/TASSP.1981.1163711.
    """
    height, width = channels.shape[1:]
    x, y = np.clip(x - 0.5, -2, width + 1), np.clip(y - 0.5, -2, height + 1)
    column, row = np.floor(x).astype(np.intp), np.floor(y).astype(np.intp)
    taps_x, taps_y = _keys(x - column), _keys(y - row)
    columns = [np.clip(column + k, 0, width - 1) for k in range(-1, 3)]
    rows = [np.clip(row + k, 0, height - 1) * width for k in range(-1, 3)]
    return _weigh(channels, columns, rows, taps_x, taps_y)


def read_linear(
    channels: Channels, x: NDArray[np.float64], y: NDArray[np.float64]
) -> NDArray[np.float32]:
    """Return a picture between its samples along straight lines; as `read_cubic`."""
    height, width = channels.shape[1:]
    x, y = np.clip(x - 0.5, 0, width - 1), np.clip(y - 0.5, 0, height - 1)
    column, row = np.floor(x).astype(np.intp), np.floor(y).astype(np.intp)
    part_x, part_y = (x - column).astype(np.float32), (y - row).astype(np.float32)
    columns = [column, np.minimum(column + 1, width - 1)]
    rows = [row * width, np.minimum(row + 1, height - 1) * width]
    return _weigh(channels, columns, rows, [1 - part_x, part_x], [1 - part_y, part_y])


def _weigh(
    channels: Channels,
    columns: list[NDArray[np.intp]],
    rows: list[NDArray[np.intp]],
    taps_x: list[NDArray[np.float32]],
    taps_y: list[NDArray[np.float32]],
) -> NDArray[np.float32]:
    planes = channels.reshape(len(channels), -1)
    total = np.zeros((len(planes), columns[0].size), np.float32)
    weight, one = np.empty_like(total[0]), np.empty_like(total[0])
    place = np.empty_like(columns[0])
    for row, tap_y in zip(rows, taps_y, strict=True):
        for column, tap_x in zip(columns, taps_x, strict=True):
            np.add(row, column, out=place)
            np.multiply(tap_x, tap_y, out=weight)
            for index, plane in enumerate(planes):
                np.take(plane, place, out=one, mode="clip")
                one *= weight
                total[index] += one
    return total


def _keys(part: NDArray[np.float64]) -> list[NDArray[np.float32]]:
    t = part.astype(np.float32)
    weights = (
        ((-t / 2 + 1) * t - 0.5) * t,
        (1.5 * t - 2.5) * t * t + 1,
        ((-1.5 * t + 2) * t + 0.5) * t,
        (t - 1) * t * t / 2,
    )
    return [np.asarray(each, np.float32) for each in weights]
