"""An element's colour and coverage as premultiplied light, and what is kept out of it."""

from dataclasses import replace
from typing import Literal

import numpy as np

from glimsum_jobs.colour import find_space
from glimsum_jobs.errors import SourceError
from glimsum_workers.engine.codes import Codes, FloatPixels, Picture, Plane, RgbCodes, VideoPlanes
from glimsum_workers.engine.encodings import decode
from glimsum_workers.engine.video import VideoRange

Alpha = Literal["premultiplied", "straight", "none"]


def light_of_element(
    codes: Codes,
    space: str,
    *,
    video_range: VideoRange | None = None,
    alpha: Alpha | None = None,
) -> Picture:
    """Return what a file of an element holds as premultiplied light.

    Parameters
    ----------
    codes : RgbCodes, FloatPixels or VideoPlanes
        What the file holds.
    space : str
        Interop ID of the encoding.
    video_range : {"limited", "full"} or None
        As for `decode`.
    alpha : {"premultiplied", "straight", "none"} or None
        How colour was stored; None: as the file says. With "none" coverage is not looked at.

    Returns
    -------
    Picture
        Scene-linear, in the primaries of `space`; finite.

    Raises
    ------
    SourceError
        As `decode`; and for premultiplied codes of limited range, whose black is not 0.

    Notes
    -----
    Straight colour is decoded and then multiplied. Premultiplied colour of a linear space is
    light as it stands. Premultiplied codes of a curved space were multiplied as codes (common
    practice, no source): they are divided by their coverage, decoded, and multiplied as light;
    where coverage is 0 they are decoded as they stand, as light without coverage.
    """
    if isinstance(codes, VideoPlanes):
        return decode(codes, space, video_range=video_range).picture
    told = codes.alpha_associated if alpha is None else alpha == "premultiplied"
    if alpha == "none" or codes.alpha is None:
        return decode(replace(codes, alpha=None), space, video_range=video_range).picture
    covered = np.where(np.isfinite(codes.alpha), np.clip(codes.alpha, 0, 1), np.float32(0))
    if told and find_space(space).curve is None and not isinstance(codes, RgbCodes):
        return Picture(decode(replace(codes, alpha=None), space).picture.rgb, covered)
    weight = covered
    if told:
        if video_range == "limited" and isinstance(codes, RgbCodes):
            raise SourceError(
                "premultiplied codes of limited range are not read",
                seen="alpha: premultiplied, range: limited",
                expected="straight colour, or codes of full range",
                remedy="Write the element with straight alpha, or in full range.",
            )
        weight = np.where(covered > 0, covered, np.float32(1))
        codes = _divided(codes, weight)
    rgb = decode(replace(codes, alpha=None), space, video_range=video_range).picture.rgb
    return Picture(np.asarray(rgb * weight[..., np.newaxis], np.float32), covered)


def keep_out(picture: Picture, holdout: Plane) -> Picture:
    """Return what is left of an element that a matte keeps out.

    Parameters
    ----------
    picture : Picture
        Premultiplied.
    holdout : Plane
        0..1, of the same size; 1 leaves nothing.

    Returns
    -------
    Picture
        Colour and coverage times ``1 - holdout`` (``out`` of Porter & Duff 1984,
        doi 10.1145/800031.808606).
    """
    left = np.float32(1) - holdout
    alpha = left if picture.alpha is None else picture.alpha * left
    return Picture(np.asarray(picture.rgb * left[..., np.newaxis], np.float32), alpha)


def _divided(codes: RgbCodes | FloatPixels, weight: Plane) -> FloatPixels:
    """Return codes without their coverage, as full-range values 0..1."""
    top = 1 if isinstance(codes, FloatPixels) else 2**codes.bits - 1
    values = codes.values.astype(np.float32) / (np.float32(top) * weight[..., np.newaxis])
    return FloatPixels(np.asarray(values, np.float32))
