"""From codes or encoded values to scene-linear light in the primaries of their own space."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.colour import find_space
from glimsum_jobs.errors import SourceError
from glimsum_jobs.spaces import Space
from glimsum_workers.engine.codes import (
    Codes,
    FloatPixels,
    Image,
    Picture,
    Plane,
    RgbCodes,
    VideoPlanes,
)
from glimsum_workers.engine.curves import CURVES
from glimsum_workers.engine.tables import enter_table, look_up, look_up_mean
from glimsum_workers.engine.video import VideoRange, rgb_from_planes

_TABLE_LOW, _TABLE_HIGH = -1.25, 2.25
_TABLE_STEPS = 1 << 19


@dataclass(frozen=True)
class Decoded:
    """A decoded picture.

    Attributes
    ----------
    picture : Picture
        Scene-linear, in the primaries of the file's own space.
    replaced : int
        Samples (colour and alpha) that were not finite and are now 0.
    """

    picture: Picture
    replaced: int = 0


def decode(codes: Codes, space: str, *, video_range: VideoRange | None = None) -> Decoded:
    """Return codes as scene-linear light; no matrix to other primaries, nothing clipped.

    Parameters
    ----------
    codes : RgbCodes, FloatPixels or VideoPlanes
        What the file holds. Alpha passes through untouched.
    space : str
        Interop ID of the encoding. ``data`` and linear spaces are only scaled to 0..1.
    video_range : {"limited", "full"} or None
        Needed for VideoPlanes. For RgbCodes None means full range (code / (2**bits - 1)).
        In a limited clip a curve whose makers print unscaled codes is entered with
        (R' * 876 + 64) / 1023, so that their code 420 is their middle grey; see
        `glimsum_jobs.spaces.VideoCodes`. Not used for FloatPixels.

    Returns
    -------
    Decoded
        float32. RgbCodes and FloatPixels: the float64 curve, rounded once (relative error
        6e-8); FloatPixels that are linear already come back as the very array of `codes`.
        VideoPlanes: the curve is read from a table of 2**19 steps over -1.25 to 2.25, nearest
        step; that is within 3.6e-6 of a full code swing: 0.0035 of a 10-bit code, or 3e-5 of
        the light of a camera log curve.

    Raises
    ------
    SourceError
        When the space is not known, the range of a clip is not stated, or codes exceed their
        bits.
    """
    known = find_space(space)
    if isinstance(codes, RgbCodes):
        rgb = _gather(codes, _code_table(known.id, codes.bits, video_range))
    elif isinstance(codes, FloatPixels):
        rgb = codes.values if known.curve is None else _exact(known, codes.values)
    else:
        rgb = _decode_video(codes, known, video_range)
    rgb, replaced = _finite(rgb)
    alpha, replaced_alpha = (
        (None, 0) if isinstance(codes, VideoPlanes) else _finite_plane(codes.alpha)
    )
    return Decoded(Picture(rgb=rgb, alpha=alpha), replaced + replaced_alpha)


def decode_mean(
    codes: RgbCodes, space: str, *, video_range: VideoRange | None = None, top: int
) -> tuple[Plane, NDArray[np.bool_]]:
    """Turn codes into the mean of the light of their three channels.

    Parameters
    ----------
    codes : RgbCodes
        As in `decode`.
    space : str
        As in `decode`.
    video_range : VideoRange, optional
        As in `decode`.
    top : int
        The code from which a channel counts as clipped.

    Returns
    -------
    mean : float32 array, (height, width)
        The mean of the channels that `decode` gives; light that is not finite counts as 0.
    clipped : bool array, (height, width)

    Raises
    ------
    SourceError
        As `decode`.
    """
    table = _code_table(find_space(space).id, codes.bits, video_range)
    finite: Plane = np.where(np.isfinite(table), table, np.float32(0))
    mean, clipped, highest = look_up_mean(codes.values, finite, top)
    _hold_to_bits(codes, highest)
    return mean, clipped


def _apply(space: Space, values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the light of encoded values 0..1 by the space's own formula, in float64."""
    if space.curve is None:
        return values
    with np.errstate(over="ignore", invalid="ignore"):
        return CURVES[space.curve](values)


def _exact(space: Space, values: Image) -> Image:
    light = np.empty(values.shape, dtype=np.float32)
    with np.errstate(over="ignore"):
        for row, encoded in zip(light, values, strict=True):
            row[...] = _apply(space, encoded.astype(np.float64))
    return light


def _entry(
    space: Space, values: NDArray[np.float64], video_range: VideoRange | None
) -> NDArray[np.float64]:
    """Return the values at which the curve is entered, from R'G'B' with white at 1."""
    if video_range == "limited" and space.video_codes == "unscaled":
        return (values * 876 + 64) / 1023
    return values


@lru_cache(maxsize=32)
def _code_table(name: str, bits: int, video_range: VideoRange | None) -> Plane:
    """Return the light of every code, float32, (2**bits,)."""
    space = find_space(name)
    values = np.arange(1 << bits, dtype=np.float64)
    if video_range == "limited":
        unit = 1 << (bits - 8)
        values = (values - 16 * unit) / (219 * unit)
    else:
        values /= (1 << bits) - 1
    table = _apply(space, _entry(space, values, video_range)).astype(np.float32)
    table.flags.writeable = False
    return table


def _gather(codes: RgbCodes, table: Plane) -> Image:
    light, highest = look_up(codes.values, table)
    _hold_to_bits(codes, highest)
    return light


def _hold_to_bits(codes: RgbCodes, highest: int) -> None:
    if highest >= 1 << codes.bits:
        raise SourceError(
            "code too large for its bits",
            seen=f"code {highest}",
            expected=f"0 to {(1 << codes.bits) - 1} ({codes.bits} bits)",
            remedy="The file's bit depth is read wrongly, or the file is damaged.",
        )


@lru_cache(maxsize=8)
def _video_table(name: str, video_range: VideoRange) -> Plane:
    """Return the light of R'G'B' at the middle of each step from _TABLE_LOW to _TABLE_HIGH."""
    space = find_space(name)
    step = (_TABLE_HIGH - _TABLE_LOW) / _TABLE_STEPS
    values = _TABLE_LOW + step * (np.arange(_TABLE_STEPS, dtype=np.float64) + 0.5)
    with np.errstate(over="ignore"):
        table = _apply(space, _entry(space, values, video_range)).astype(np.float32)
    table.flags.writeable = False
    return table


def _decode_video(planes: VideoPlanes, space: Space, video_range: VideoRange | None) -> Image:
    if video_range is None:
        raise SourceError(
            "range of the clip is not stated",
            seen=f"a clip in {space.id} without a range",
            expected="range: limited or range: full",
            remedy="Camera clips are limited as a rule; the wrong one moves middle tones by half "
            "a stop.",
        )
    rgb = rgb_from_planes(planes, video_range)
    if space.curve is None:
        return rgb
    table = _video_table(space.id, video_range)
    scale = _TABLE_STEPS / (_TABLE_HIGH - _TABLE_LOW)
    enter_table(rgb, _TABLE_LOW, scale, table)
    return rgb


def _finite(rgb: Image) -> tuple[Image, int]:
    """Return `rgb` with 0 for every sample that is not finite, and their count."""
    if np.isfinite(np.sum(rgb, dtype=np.float64)):
        return rgb, 0
    bad = ~np.isfinite(rgb)
    return np.where(bad, np.float32(0), rgb), int(np.count_nonzero(bad))


def _finite_plane(alpha: Plane | None) -> tuple[Plane | None, int]:
    return (None, 0) if alpha is None else _finite(alpha)
