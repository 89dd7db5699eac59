"""Mattes: weights 0..1 from a picture, or from a set shot before a lit backing."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.codes import Image, Picture, Plane

MatteChannel = Literal["luminance", "alpha", "red", "green", "blue"]

_LUMINANCE = (0.2126, 0.7152, 0.0722)
"""ITU-R BT.709 luminance weights; of no effect on a grey matte, as they sum to 1."""


@dataclass(frozen=True)
class Matte:
    """A matte and what had to be done to it.

    Attributes
    ----------
    weight : Plane
        0..1; 1 keeps, 0 takes away.
    clamped : int
        Pixels that lay outside 0..1; noise about the ends puts up to half of them there.
    unlit : int
        Pixels where the backing gave no light to judge by; their weight is 1.
    """

    weight: Plane
    clamped: int
    unlit: int = 0


def matte_from_picture(picture: Picture, channel: MatteChannel = "luminance") -> Matte:
    """Return a matte that was drawn or computed elsewhere.

    Parameters
    ----------
    picture : Picture
        Data, not light: values 0..1 as stored in the file.
    channel : MatteChannel
        Which value is the weight. Luminance is 0.2126 R + 0.7152 G + 0.0722 B.

    Returns
    -------
    Matte

    Raises
    ------
    LightError
        If `alpha` is asked of a picture that has none.
    """
    if channel == "alpha":
        if picture.alpha is None:
            raise LightError(
                "The matte has no alpha",
                seen="R, G, B",
                expected="R, G, B, A",
                remedy="Use its luminance, or save it with alpha.",
            )
        return _clamp(picture.alpha)
    if channel == "luminance":
        red, green, blue = (np.float32(weight) for weight in _LUMINANCE)
        rgb = picture.rgb
        weight = rgb[..., 0] * red + rgb[..., 1] * green + rgb[..., 2] * blue
        return _clamp(np.asarray(weight, dtype=np.float32))
    return _clamp(picture.rgb[..., ("red", "green", "blue").index(channel)])


def matte_from_backing(
    silhouette: Image,
    backing: Image,
    black: Image | None = None,
    *,
    smallest: float = 0.02,
    most_unlit: float = 0.5,
) -> Matte:
    """Return the coverage of a set shot unlit before a lit backing.

    Parameters
    ----------
    silhouette : Image
        S: the set before the lit backing; scene-linear.
    backing : Image
        W: the backing alone, same light and exposure; averaged over several frames.
    black : Image, optional
        B: ambient with the backing dark; 0 where the ambient was taken from S and W already.
    smallest : float
        W - B below this share of its 99th percentile is no backing: weight 1 there.
    most_unlit : float
        Share of the picture without backing above which the pass is refused.

    Returns
    -------
    Matte
        ``1 - (S - B) / (W - B)`` of the mean over R, G and B, clamped to 0..1. Its noise is
        that of S over W. Light the backing spills on to the set lowers it there: garbage
        mattes and a black set help.

    Raises
    ------
    LightError
        If sizes differ, or W is not above B on at least ``1 - most_unlit`` of the picture.

    Notes
    -----
    S = coverage * B + (1 - coverage) * W for a set that gives no light of its own: the
    definition of coverage, solved (common practice, no source).
    """
    for name, picture in (("backing", backing), ("black", black)):
        if picture is not None and picture.shape != silhouette.shape:
            raise LightError(
                f"The {name} has another size than the silhouette",
                seen=f"{picture.shape[1]} x {picture.shape[0]} pixels",
                expected=f"{silhouette.shape[1]} x {silhouette.shape[0]} pixels",
                remedy="Shoot both with one camera mode.",
            )
    dark = 0.0 if black is None else black.mean(axis=2)
    above = backing.mean(axis=2) - dark
    lit = above > max(smallest * float(np.percentile(above, 99)), 1e-9)
    share = 1.0 - float(np.count_nonzero(lit)) / lit.size
    if share > most_unlit:
        raise LightError(
            "The backing gives no light over much of the picture",
            seen=f"W <= B, or nearly, on {100 * share:.1f} % of the pixels",
            expected=f"at most {100 * most_unlit:.0f} %",
            remedy="Check which pass is the empty backing, and that both have one exposure.",
        )
    seen = silhouette.mean(axis=2) - dark
    weight = np.ones_like(above)
    np.divide(seen, above, out=weight, where=lit)
    weight[lit] = 1 - weight[lit]
    matte = _clamp(weight.astype(np.float32))
    return Matte(matte.weight, matte.clamped, int(lit.size - np.count_nonzero(lit)))


def _clamp(weight: NDArray[np.float32]) -> Matte:
    outside = int(np.count_nonzero((weight < 0) | (weight > 1)))
    return Matte(np.clip(weight, 0, 1).astype(np.float32), outside)
