"""A picture made ready to be registered: small arrays that can be kept and sent on."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.codes import Image, Plane
from glimsum_workers.engine.metrics import as_plane
from glimsum_workers.engine.registration.bands import (
    GENERAL,
    Band,
    Mask,
    halve,
    halve_mask,
    pass_halves,
    widen,
)
from glimsum_workers.engine.registration.noise import (
    Noise,
    estimate_noise,
    stabilise,
    stabilise_halved,
)

MOST_PIXELS = 3_200_000
"""Above this the picture is halved first: at 4K half the size loses under 0.01 px."""
_CLIP_REACH = 3
_LEAST_SIDE = 64
_MOST_LEVELS = 3
SMALLEST = (37, 37)
"""Rows and columns a picture needs, pixels."""


@dataclass(frozen=True)
class Level:
    """One size of a picture, band-passed.

    Attributes
    ----------
    band : float16 array, (height, width)
        Detail in units of the noise of a pixel; 0 where it is not valid.
    valid : bool array, (height, width), or None
        Not clipped nor near it; None means everywhere.
    factor : int
        Pixels of the full size to one pixel of this level.
    """

    band: NDArray[np.float16]
    valid: Mask | None
    factor: int


@dataclass(frozen=True)
class Prepared:
    """A picture ready for `register`.

    Attributes
    ----------
    size : tuple of int
        (height, width) of the full picture, pixels.
    levels : tuple of Level
        Finest first; each is half the size of the one before.
    noise : Noise
        What the light was rescaled with.
    detail : Band
        Which detail the levels hold.
    """

    size: tuple[int, int]
    levels: tuple[Level, ...]
    noise: Noise
    detail: Band = GENERAL


def prepare(
    light: Image | Plane,
    *,
    clipped: Mask | None = None,
    noise: Noise | None = None,
    band: Band = GENERAL,
) -> Prepared:
    """Make a picture ready to be registered.

    Parameters
    ----------
    light : Image or Plane
        (height, width, 3) or (height, width), scene-linear, any scale, finite, at least 37 pixels
        each way; of three channels the mean is taken.
    clipped : bool array, (height, width), optional
        True where a channel was clipped in the source; such pixels and those within 3 of them are
        left out, since the edge of a clipped patch moves with the light.
    noise : Noise, optional
        Of the plane; estimated from the picture where not given.
    band : Band
        Which detail; `bands.ACROSS_LIGHTS` where the picture is held only against pictures in
        other light, by shift, similarity or affine.

    Returns
    -------
    Prepared
        About 5 bytes a pixel up to 3.2 million pixels; above, the picture is halved first.

    Raises
    ------
    LightError
        If the picture is smaller than 37 x 37 pixels, holds values that are not finite, or the mask
        has another size.
    """
    return prepare_both(light, (band,), clipped=clipped, noise=noise)[0]


def prepare_both(
    light: Image | Plane,
    bands: Sequence[Band],
    *,
    clipped: Mask | None = None,
    noise: Noise | None = None,
) -> tuple[Prepared, ...]:
    """Make a picture ready for several bands: the same as `prepare` for each, in less time.

    Parameters
    ----------
    light : Image or Plane
        As in `prepare`.
    bands : sequence of Band
        Which details.
    clipped : bool array, (height, width), optional
        As in `prepare`.
    noise : Noise, optional
        As in `prepare`.

    Returns
    -------
    tuple of Prepared
        In the order of `bands`.

    Raises
    ------
    LightError
        As `prepare`.
    """
    plane = as_plane(light) if light.ndim == 3 else np.asarray(light, dtype=np.float32)
    _check(plane, clipped)
    valid = None if clipped is None or not clipped.any() else ~widen(clipped, _CLIP_REACH)
    noise = estimate_noise(plane, valid) if noise is None else noise
    if plane.size <= MOST_PIXELS:
        steady, factor = stabilise(plane, noise), 1
    else:
        steady, valid, factor = stabilise_halved(plane, noise), _halve_valid(valid), 2
    while steady.size > MOST_PIXELS:
        steady, valid, factor = halve(steady), _halve_valid(valid), 2 * factor
    levels: list[list[Level]] = [[] for _ in bands]
    for _ in range(_MOST_LEVELS):
        for band, own in zip(bands, levels, strict=True):
            own.append(Level(pass_halves(steady, valid, band), valid, factor))
        if min(steady.shape) < 2 * _LEAST_SIDE:
            break
        steady, valid, factor = halve(steady), _halve_valid(valid), 2 * factor
    size = (plane.shape[0], plane.shape[1])
    return tuple(
        Prepared(size, tuple(own), noise, band) for band, own in zip(bands, levels, strict=True)
    )


def _halve_valid(valid: Mask | None) -> Mask | None:
    return None if valid is None else halve_mask(valid)


def _check(plane: Plane, clipped: Mask | None) -> None:
    if clipped is not None and clipped.shape != plane.shape:
        raise LightError(
            "The mask of clipped pixels has another size than its picture",
            seen=f"{clipped.shape[1]} x {clipped.shape[0]} pixels",
            expected=f"{plane.shape[1]} x {plane.shape[0]}",
            remedy="Make the mask from the same picture.",
        )
    if plane.shape[0] < SMALLEST[0] or plane.shape[1] < SMALLEST[1]:
        raise LightError(
            "The picture is too small to be registered",
            seen=f"{plane.shape[1]} x {plane.shape[0]} pixels",
            expected=f"at least {SMALLEST[1]} x {SMALLEST[0]}",
            remedy="Set the drift of this pass by hand or leave its alignment off.",
        )
    if not np.isfinite(plane.sum(dtype=np.float64)):
        raise LightError(
            "The picture holds values that are not finite",
            seen=f"{int(np.count_nonzero(~np.isfinite(plane)))} of {plane.size} pixels",
            expected="finite light",
            remedy="Replace them where the picture is decoded, and count them.",
        )
