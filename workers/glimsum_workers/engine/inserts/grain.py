"""Grain: noise put on an insert as the plate would have recorded its light."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from glimsum_workers.engine.codes import Image, Picture
from glimsum_workers.engine.registration.noise import Noise, estimate_noise


@dataclass(frozen=True)
class Grain:
    """Noise of the plate, channel by channel.

    Attributes
    ----------
    channels : tuple of Noise
        R, G, B: standard deviation at black, and light of one electron, both in the light that
        is combined.
    """

    channels: tuple[Noise, Noise, Noise]


def read_grain(light: Image) -> Grain:
    """Read the grain of a pass from its smoothest blocks (`registration.noise`).

    Parameters
    ----------
    light : Image
        Scene-linear, working space, at least 26 x 26 pixels.

    Returns
    -------
    Grain
        Standard deviation 15 to 25 % too low on smooth pictures, within 20 % on the rendered
        harbour; too high where a picture is textured all over, too low where coding smoothed
        the noise away.
    """
    red, green, blue = (
        estimate_noise(np.ascontiguousarray(light[..., channel])) for channel in range(3)
    )
    return Grain((red, green, blue))


def plate_grain(lit: Grain, others: Iterable[tuple[Grain, float]]) -> Grain:
    """Return the grain that light has in a plate made of several passes.

    Parameters
    ----------
    lit : Grain
        Of the pass whose exposure the light is given.
    others : iterable of (Grain, float)
        The other passes laid before and their gains: in the dark they leave their own noise.

    Returns
    -------
    Grain
        Variances of independent noise add.
    """
    given = list(others)

    def summed(channel: int) -> Noise:
        own = lit.channels[channel]
        read = own.read**2 + sum((gain * each.channels[channel].read) ** 2 for each, gain in given)
        return Noise(gain=own.gain, read=float(np.sqrt(read)))

    return Grain((summed(0), summed(1), summed(2)))


def add_grain(picture: Picture, grain: Grain, amount: float, seed: Sequence[int]) -> Picture:
    """Put grain on an insert.

    Parameters
    ----------
    picture : Picture
        Premultiplied, scene-linear, working space.
    grain : Grain
        Of the plate.
    amount : float
        1 is as much as the plate has; 0 none.
    seed : sequence of int
        0 or more: the same numbers give the same grain.

    Returns
    -------
    Picture
        Gaussian noise of variance ``read**2 + gain * light`` added to the light of every
        covered pixel, each pixel and channel for itself, then weighed by coverage. The mean
        stays.

    References
    ----------
    EMVA 1288 release 4.0 (variance linear in the light; from memory).
    """
    if amount == 0:
        return picture
    chance = np.random.Generator(np.random.Philox(np.random.SeedSequence(list(seed))))
    alpha = np.ones(picture.rgb.shape[:2], np.float32) if picture.alpha is None else picture.alpha
    covered = alpha > 0
    count = int(np.count_nonzero(covered))
    rgb = picture.rgb.copy()
    weight = alpha[covered]
    for channel, noise in enumerate(grain.channels):
        light = np.maximum(rgb[covered, channel] / weight, 0)
        sigma = np.sqrt(np.float32(noise.read**2) + np.float32(noise.gain) * light)
        drawn = chance.standard_normal(count, dtype=np.float32)
        rgb[covered, channel] += np.float32(amount) * weight * sigma * drawn
    return Picture(rgb, picture.alpha)
