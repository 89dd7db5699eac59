"""A few small pictures of each piece, to guess from and to show to a person."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.draft.guesses import Light
from glimsum_workers.engine.codes import Codes, FloatPixels, Image, RgbCodes
from glimsum_workers.engine.metrics import block_means
from glimsum_workers.engine.video import rgb_from_planes

WIDTH_PX = 240
MOST_PICTURES = 12


@dataclass(frozen=True)
class Look:
    """A small picture as coded, with the number of the picture it was made from.

    Attributes
    ----------
    label : str
        Number of the file or of the picture of a clip; empty for a still.
    picture : uint8 array, (height, width, 3)
        R G B; codes as stored, scaled to 0..255 (floats through the sRGB curve): log looks flat.
    """

    label: str
    picture: NDArray[np.uint8]


def look_at(codes: Codes, label: str, *, full_range: bool = False) -> Look:
    """Make a small picture of what a file holds.

    Parameters
    ----------
    codes : Codes
        One picture as read.
    label : str
        Shown below it.
    full_range : bool
        Whether the codes of a clip span their whole range.

    Returns
    -------
    Look
        At most 480 pixels wide: boxes of whole pixels, averaged as coded.
    """
    shown = _shown(codes, full_range=full_range)
    size = max(1, shown.shape[1] // WIDTH_PX)
    small = block_means(shown, size) if min(shown.shape[:2]) >= size else shown
    return Look(label, np.round(np.clip(small, 0, 1) * 255).astype(np.uint8))


def spread_over(numbers: Sequence[int], most: int = MOST_PICTURES) -> list[int]:
    """Return at most `most` of the numbers, evenly spread, the first and the last among them."""
    if len(numbers) <= most:
        return list(numbers)
    places = np.round(np.linspace(0, len(numbers) - 1, most)).astype(int)
    return [numbers[place] for place in places]


def measure_light(looks: Sequence[Look]) -> Light | None:
    """Return how the brightest of the pictures looks; None without a picture."""
    lights = [_light_of(look) for look in looks]
    return max(lights, key=lambda light: light.span, default=None)


def _light_of(look: Look) -> Light:
    grey = look.picture.mean(axis=2, dtype=np.float32) / np.float32(255)
    size = max(1, grey.shape[1] // 80)
    boxes = block_means(grey, size) if min(grey.shape) >= size else grey
    dim, middle, bright = (float(value) for value in np.percentile(boxes, [1, 50, 99]))
    eighth = (bright - dim) / 8
    ends = (boxes < dim + eighth) | (boxes > bright - eighth)
    return Light(dim, middle, bright, float(ends.mean()))


def _shown(codes: Codes, *, full_range: bool) -> Image:
    if isinstance(codes, RgbCodes):
        return codes.values.astype(np.float32) / np.float32(2**codes.bits - 1)
    if isinstance(codes, FloatPixels):
        light = np.clip(np.nan_to_num(codes.values), 0, 1)
        # IEC 61966-2-1
        curve = np.where(light <= 0.0031308, light * 12.92, 1.055 * light ** (1 / 2.4) - 0.055)
        return curve.astype(np.float32)
    return rgb_from_planes(codes, "full" if full_range else "limited")
