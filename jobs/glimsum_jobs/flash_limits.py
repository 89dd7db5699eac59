"""The published limits of flashing pictures, and how many flashes one light makes in a second.

References: W3C, Web Content Accessibility Guidelines 2.2, success criterion 2.3.1 and the
definition "general flash and red flash thresholds"; Ofcom, Guidance Note Section 2, Annex 1.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

MOST_FLASHES = 3
"""In any one second."""
STEP = 0.10
"""Least change of relative luminance, of its maximum 1.0, that makes half a general flash."""
BRIGHT = 0.80
"""A change whose darker state is not below this relative luminance is none."""
RED_SHARE = 0.8
"""Saturated red: linear R / (R + G + B) of at least this."""
RED_STEP = 20 / 320
"""A red flash changes R - G - B (negative values count 0) by more than this."""
RED_CHROMATICITY = 0.2
"""Or it changes CIE 1976 u'v' by more than this, from or to a saturated red."""
AREA_SHARE = 0.25
"""Flashing area that counts: above this share of the picture, or of any 10 degree field."""
SCREEN_PX = (1024, 768)
"""Width and height of the screen of the estimate."""
FIELD_PX = (341, 256)
"""Width and height of a rectangle there that stands for a field of 10 degrees."""


@dataclass(frozen=True)
class WorstSecond:
    """The second with the most flashes.

    Attributes
    ----------
    flashes : int
        Flashes whose leading edges lie in it.
    frames : tuple of int
        Frames of these edges.
    """

    flashes: int
    frames: tuple[int, ...]


def leading_edges(light: Sequence[float]) -> tuple[list[int], list[int]]:
    """Return where flashes begin in a series of relative luminance.

    Parameters
    ----------
    light : sequence of float
        Relative luminance 0..1, one value a frame.

    Returns
    -------
    rises : list of int
        Places where a rise begins a flash: a fall is behind it.
    falls : list of int
        Places where a fall begins one: a rise is behind it.

    Notes
    -----
    A change lies between a peak and a valley next to each other and is placed where it amounts
    to `STEP`.
    """
    changes: list[tuple[int, int]] = []
    way, start, least, most, told = 0, 0.0, float("inf"), float("-inf"), False
    for place, value in enumerate(light):
        least, most = min(least, value), max(most, value)
        if way <= 0 and value - least >= STEP:
            way, start, most, told = 1, least, value, False
        elif way >= 0 and most - value >= STEP:
            way, start, least, told = -1, most, value, False
        if way and not told and min(start, value) < BRIGHT:
            told = True
            changes.append((place, way))
    begun = changes[:-1]
    return [at for at, up in begun if up > 0], [at for at, up in begun if up < 0]


def worst_second(edges: Sequence[int], rate: Fraction) -> WorstSecond:
    """Return the second that holds most leading edges; of several the first.

    Parameters
    ----------
    edges : sequence of int
        Rising frame numbers.
    rate : Fraction
        Frames a second; edges lie in one second if they are less than `rate` frames apart.
    """
    found = WorstSecond(0, ())
    first = 0
    for last, edge in enumerate(edges):
        while edge - edges[first] >= rate:
            first += 1
        if last - first + 1 > found.flashes:
            found = WorstSecond(last - first + 1, tuple(edges[first : last + 1]))
    return found
