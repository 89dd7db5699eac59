"""Figures of one frame for the report, and means over square blocks."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.codes import Image, Plane
from glimsum_workers.engine.laying import is_worth_it


@dataclass(frozen=True)
class FrameFigures:
    """Figures of one frame, as the report shows them.

    Attributes
    ----------
    mean, median : tuple of float
        R G B, scene-linear. The median is taken over every `step`-th row and column.
    negative_share : float
        Share of samples below zero, 0..1; noise about black gives up to 0.5 and is right.
    clipped_share : float
        Share of pixels that were clipped in the source, 0..1.
    replaced : int
        Samples that were not finite and were replaced by 0.
    """

    mean: tuple[float, float, float]
    median: tuple[float, float, float]
    negative_share: float
    clipped_share: float
    replaced: int


def block_means(picture: NDArray[np.float32], size: int) -> NDArray[np.float32]:
    """Return the mean of every square block.

    Parameters
    ----------
    picture : Image or Plane, (height, width[, channels])
        Any linear quantity; the result is linear in it, which a median would not be.
    size : int
        Side of a block in pixels. Rows and columns beyond the last whole block are left out.

    Returns
    -------
    float32 array, (height // size, width // size[, channels])
        Means, summed in float32 along rows of `size` and in float64 across them: relative
        error below 1e-6 for blocks up to 64 pixels.

    Raises
    ------
    LightError
        If the picture holds no whole block.
    """
    height, width = picture.shape[:2]
    rows, columns = height // size if size > 0 else 0, width // size if size > 0 else 0
    if rows == 0 or columns == 0:
        raise LightError(
            "The picture holds no whole block",
            seen=f"{width} x {height} pixels, blocks of {size}",
            expected=f"at least {size} x {size} pixels",
            remedy="Choose a smaller block.",
        )
    whole = picture[: rows * size, : columns * size]
    channels = whole.shape[2:]
    # Rows first: whole rows are added, which runs along memory and needs one small sum.
    tall = whole.reshape(rows, size, columns * size, *channels).sum(axis=1, dtype=np.float32)
    wide = tall.reshape(rows, columns, size, *channels).sum(axis=2, dtype=np.float64)
    return np.asarray(wide / (size * size), dtype=np.float32)


def replace_nonfinite(picture: NDArray[np.float32]) -> int:
    """Set NaN and infinite samples of `picture` to 0, in place, and return how many there were.

    Parameters
    ----------
    picture : Image or Plane
        Changed in place.

    Returns
    -------
    int
        Samples replaced. One such sample would spread over a whole kernel in a resample.
    """
    # A sum that is finite proves that every addend is: the common case needs no mask.
    with np.errstate(over="ignore", invalid="ignore"):
        if np.isfinite(picture.sum(dtype=np.float64)):
            return 0
    bad = ~np.isfinite(picture)
    picture[bad] = 0.0
    return int(np.count_nonzero(bad))


def read_figures(
    rgb: Image,
    *,
    clipped: NDArray[np.bool_] | None = None,
    replaced: int = 0,
    step: int | None = None,
) -> FrameFigures:
    """Return the figures of one frame.

    Parameters
    ----------
    rgb : Image
        Scene-linear, finite.
    clipped : bool array, (height, width), optional
        Pixels clipped in the source, from `hot_pixels.clip_mask`.
    replaced : int
        What `replace_nonfinite` answered for this frame.
    step : int, optional
        Stride of the sample that the median is taken from, in pixels; default 4, wider for
        pictures of more than 1920 columns in proportion.

    Returns
    -------
    FrameFigures
        The means are exact to float32 rounding; the median's sampling error is that of
        height * width / step**2 pixels.

    Raises
    ------
    LightError
        If a mean is not finite.
    """
    mean, below = _sum_picture(rgb)
    if not np.all(np.isfinite(mean)):
        raise LightError(
            "The frame holds samples that are not finite",
            seen=f"means {mean.tolist()}",
            expected="finite light",
            remedy="Replace them where the picture is decoded, and count them.",
        )
    step = max(4, rgb.shape[1] // 480) if step is None else step
    median = np.median(rgb[::step, ::step].reshape(-1, 3), axis=0)
    return FrameFigures(
        mean=(float(mean[0]), float(mean[1]), float(mean[2])),
        median=(float(median[0]), float(median[1]), float(median[2])),
        negative_share=below / rgb.size,
        clipped_share=0.0 if clipped is None else float(np.count_nonzero(clipped)) / clipped.size,
        replaced=replaced,
    )


def _sum_picture(rgb: Image) -> tuple[NDArray[np.float64], float]:
    """Return the mean of each channel, and how many samples are below 0."""
    if not is_worth_it((rgb.shape[0], rgb.shape[1])):
        return rgb.mean(axis=(0, 1), dtype=np.float64), float(np.count_nonzero(rgb < 0))
    from glimsum_workers.engine.compiled.sums import sum_picture  # noqa: PLC0415  # costs 0.5 s

    columns = np.empty(rgb.shape[1] * 3, np.float64)
    below = sum_picture(np.ascontiguousarray(rgb), columns)
    return columns.reshape(-1, 3).sum(axis=0) / (rgb.shape[0] * rgb.shape[1]), float(below)


def box_mean(plane: NDArray[np.float32], radius: int) -> NDArray[np.float32]:
    """Return the mean over a square window about every pixel, with edge pixels repeated.

    Parameters
    ----------
    plane : Image or Plane, (height, width[, channels])
    radius : int
        Window side is 2 * radius + 1 pixels; 0 returns a copy.

    Returns
    -------
    float32 array
        Same shape. Running sums are float64: relative error of the mean below 1e-6.
    """
    result: NDArray[np.float32] = plane.copy()
    if radius == 0:
        return result
    side = 2 * radius + 1
    for axis in (0, 1):
        pad = [(radius + 1, radius) if a == axis else (0, 0) for a in range(plane.ndim)]
        total = np.cumsum(np.pad(result, pad, mode="edge"), axis=axis, dtype=np.float64)
        upper, lower = [slice(None)] * plane.ndim, [slice(None)] * plane.ndim
        upper[axis], lower[axis] = slice(side, None), slice(None, -side)
        result = ((total[tuple(upper)] - total[tuple(lower)]) / side).astype(np.float32)
    return result


def as_plane(rgb: Image) -> Plane:
    """Return the mean of R, G and B: float32 (height, width), same encoding."""
    return ((rgb[..., 0] + rgb[..., 1] + rgb[..., 2]) * np.float32(1 / 3)).astype(np.float32)
