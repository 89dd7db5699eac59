"""A matte that was drawn or computed elsewhere."""

from typing import Literal

import numpy as np

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.codes import Picture, Plane
from glimsum_workers.engine.laying import Halves, weigh_halves
from glimsum_workers.engine.mattes.matte import Matte, clamp

MatteChannel = Literal["luminance", "alpha", "red", "green", "blue"]

_LUMINANCE = (0.2126, 0.7152, 0.0722)
"""ITU-R BT.709 luminance weights; of no effect on a grey matte, as they sum to 1."""


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
        return clamp(picture.alpha)
    if channel == "luminance":
        red, green, blue = (np.float32(weight) for weight in _LUMINANCE)
        rgb = picture.rgb
        weight = rgb[..., 0] * red + rgb[..., 1] * green + rgb[..., 2] * blue
        return clamp(np.asarray(weight, dtype=np.float32))
    return clamp(picture.rgb[..., ("red", "green", "blue").index(channel)])


def weights_from_halves(planes: Halves) -> Plane:
    """Return the luminance weights of a matte that is stored as half floats.

    Parameters
    ----------
    planes : Halves
        Data, not light; samples that are not finite count as 0.

    Returns
    -------
    Plane
        The weight of `matte_from_picture` for the same picture, bit for bit.
    """
    return weigh_halves(planes, _LUMINANCE)
