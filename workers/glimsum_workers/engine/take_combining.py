"""Takes of one pass, already in their place, made one picture: mean or median, spoilt parts out."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.codes import Picture

Combine = Literal["mean", "median"]
_STRIP_BYTES = 1 << 20
_FEWEST_FOR_SIGMA = 5


@dataclass(frozen=True)
class Take:
    """One take of a pass, where the reference lies.

    Attributes
    ----------
    picture : Picture
        Scene-linear, at the exposure of the unit pass.
    spoilt : bool array, (height, width), or None
        Pixels that tell nothing of the light: clipped in the file, or beyond its edge.
    weight : float
        How much it counts in a mean, above 0: best the light it received against the others,
        for photon noise of an equalised take has a variance that falls with it.
    """

    picture: Picture
    spoilt: NDArray[np.bool_] | None = None
    weight: float = 1.0


@dataclass(frozen=True)
class CombinedTakes:
    """What takes gave together.

    Attributes
    ----------
    picture : Picture
        Scene-linear; alpha where any take has one.
    left_out : float
        Share of the samples, 0..1, that were left out as spoilt or as outliers.
    """

    picture: Picture
    left_out: float


def combine_takes(
    takes: Sequence[Take], how: Combine, *, sigma: float | None = None
) -> CombinedTakes:
    """Return the mean or the median of takes.

    Parameters
    ----------
    takes : sequence of Take
        At least one, all of one size.
    how : {"mean", "median"}
        mean: weighted, the least noise. median: a fly or a hand in one of three takes doesn't
        show; its noise is 1.25 times that of the mean for many takes, 1.16 for three
        (`sqrt(pi / 2)`, and from order statistics of normal noise; from memory).
    sigma : float, optional
        mean only: pixels further than so many deviations (1.4826 times the median deviation)
        from the median of the takes, in any channel, are left out first. Five takes at least:
        of fewer the deviation tells too little.

    Returns
    -------
    CombinedTakes
        Spoilt pixels count only where every take is spoilt. Negative values are kept. float32;
        the relative error of a mean of n takes is below n * 2**-23 of the largest value.

    Raises
    ------
    LightError
        If there is no take, sizes differ, a weight is not above 0, or `sigma` is asked of a
        median or of fewer than five takes.

    Notes
    -----
    The weight of a take is the same for all of its pixels: one that followed the pixel's own
    value would favour the darker side of the noise. Noise of a mean of n equal takes falls by
    sqrt(n).
    """
    _check(takes, how, sigma)
    height, width = takes[0].picture.rgb.shape[:2]
    planes = 4 if any(take.picture.alpha is not None for take in takes) else 3
    result = np.empty((height, width, planes), dtype=np.float32)
    rows = max(1, _STRIP_BYTES // (len(takes) * width * planes * 4))
    lost = 0
    for top in range(0, height, rows):
        strip = slice(top, min(top + rows, height))
        values = np.stack([_channels(take.picture, strip, planes) for take in takes])
        keep = np.stack([_kept(take, strip, width) for take in takes])
        keep |= ~keep.any(axis=0)
        if how == "mean":
            if sigma is not None:
                inner = keep & ~_outliers(values, keep, sigma)
                # Where every take is out in one channel or another, none is.
                keep = np.where(inner.any(axis=0), inner, keep)
            weights = np.array([take.weight for take in takes], dtype=np.float32)
            result[strip] = _mean(values, keep, weights)
        else:
            result[strip] = _median(values, keep)
        lost += keep.size - int(np.count_nonzero(keep))
    alpha = np.ascontiguousarray(result[..., 3]) if planes == 4 else None
    picture = Picture(np.ascontiguousarray(result[..., :3]), alpha)
    return CombinedTakes(picture, lost / (len(takes) * height * width))


def _check(takes: Sequence[Take], how: Combine, sigma: float | None) -> None:
    sizes = {take.picture.rgb.shape[:2] for take in takes}
    if len(sizes) != 1:
        raise LightError(
            "The takes of a pass are not of one size",
            seen=", ".join(f"{w} x {h} pixels" for h, w in sorted(sizes)) or "no take",
            expected="at least one take, all of one size",
            remedy="Crop them to one size.",
        )
    if not all(np.isfinite(take.weight) and take.weight > 0 for take in takes):
        raise LightError(
            "A take has no weight",
            seen=", ".join(f"{take.weight:g}" for take in takes),
            expected="weights above 0",
            remedy="State the exposure of every take.",
        )
    if sigma is not None and (how != "mean" or len(takes) < _FEWEST_FOR_SIGMA):
        raise LightError(
            "Outliers can't be told from takes like these",
            seen=f"{len(takes)} takes, {how}",
            expected=f"a mean of at least {_FEWEST_FOR_SIGMA} takes",
            remedy="Leave sigma out, or take the median.",
        )


def _channels(picture: Picture, strip: slice, planes: int) -> NDArray[np.float32]:
    """Return a strip of a picture as (rows, width, planes); alpha is 1 where it has none."""
    rgb = picture.rgb[strip]
    if planes == 3:
        return rgb
    alpha = np.ones(rgb.shape[:2], np.float32) if picture.alpha is None else picture.alpha[strip]
    return np.dstack([rgb, alpha])


def _kept(take: Take, strip: slice, width: int) -> NDArray[np.bool_]:
    if take.spoilt is None:
        return np.ones((strip.stop - strip.start, width), dtype=np.bool_)
    return ~take.spoilt[strip]


def _mean(
    values: NDArray[np.float32], keep: NDArray[np.bool_], weights: NDArray[np.float32]
) -> NDArray[np.float32]:
    share = keep * weights[:, None, None]
    share /= share.sum(axis=0)
    total = np.zeros(values.shape[1:], dtype=np.float32)
    for each, part in zip(values, share, strict=True):
        total += each * part[..., None]
    return total


def _median(values: NDArray[np.float32], keep: NDArray[np.bool_]) -> NDArray[np.float32]:
    """Return the median of what is kept; of an even number the mean of the middle two."""
    ranked = np.where(keep[..., None], values, np.float32(np.inf))
    _rank(ranked)
    count = np.count_nonzero(keep, axis=0)[None, ..., None]
    low = np.take_along_axis(ranked, (count - 1) // 2, axis=0)[0]
    high = np.take_along_axis(ranked, count // 2, axis=0)[0]
    return np.asarray(np.float32(0.5) * (low + high), dtype=np.float32)


def _rank(values: NDArray[np.float32]) -> None:
    """Sort along the first axis, in place, by exchanges of whole pictures."""
    # Few takes and many pixels: an exchange runs along memory, a sort of columns doesn't.
    count = len(values)
    for turn in range(count):
        for first in range(turn % 2, count - 1, 2):
            smaller = np.minimum(values[first], values[first + 1])
            np.maximum(values[first], values[first + 1], out=values[first + 1])
            values[first] = smaller


def _outliers(
    values: NDArray[np.float32], keep: NDArray[np.bool_], sigma: float
) -> NDArray[np.bool_]:
    away = np.abs(values - _median(values, keep))
    spread = np.float32(1.482602) * _median(away, keep)
    out: NDArray[np.bool_] = np.logical_or.reduce(away > np.float32(sigma) * spread, axis=-1)
    return out
