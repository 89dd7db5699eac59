"""Detail of two pictures laid over each other, so that the eye sees what lies where."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image as Pillow
from PIL import ImageDraw

from glimsum_workers.engine.codes import Image, Plane
from glimsum_workers.engine.metrics import box_mean
from glimsum_workers.engine.registration.prepared import prepare
from glimsum_workers.frames.previews import Display, shrink

NOISE = 1.4
"""Detail below this is noise: four standard deviations of what noise leaves in the band."""
_LOCAL_PX = 12
"""Detail is shown against its own mean within so many pixels each way."""
_SHARED = (0.3, 2.0)
"""Local detail of both pictures that is not shown yet, and from which on it is shown in full."""
_BRIGHT = 3.0
"""Times the local detail that is shown at full brightness."""
CUT_PX = (160, 90)
"""Width and height of a cutout, pixels of the picture."""
_ENLARGED = 4
_WIDEST_PX = 640
_FRAME = (255, 214, 90)
LETTERS = "abc"


@dataclass(frozen=True)
class Laid:
    """One picture's detail over the other's.

    Attributes
    ----------
    fringes : Display
        Red: detail of the first alone; cyan: of the second alone; grey where both lie on each
        other. Dark where either shows nothing. Pixels of the first level of detail.
    agreement : float
        Correlation of the two details where both show something, 0..1 for pictures alike.
    """

    fringes: Display
    agreement: float


@dataclass(frozen=True)
class Cutout:
    """A part of the picture to be looked at closely: pixels of `Laid.fringes`."""

    letter: str
    x: int
    y: int
    width: int
    height: int

    def of(self, picture: Display) -> Display:
        """Return the part, enlarged four times."""
        part = picture[self.y : self.y + self.height, self.x : self.x + self.width]
        size = (self.width * _ENLARGED, self.height * _ENLARGED)
        large = Pillow.fromarray(np.ascontiguousarray(part)).resize(size, Pillow.Resampling.BICUBIC)
        return np.asarray(large, np.uint8)


def find_detail(picture: Image) -> Plane:
    """Return how much detail of 3 to 15 pixels each place shows, whatever its sign.

    Parameters
    ----------
    picture : Image
        (height, width, 3), scene-linear.

    Returns
    -------
    Plane
        In units of the noise, 0 below four standard deviations of it; above 3.2 million pixels
        at half the size.
    """
    band = prepare(picture).levels[0].band.astype(np.float32)
    return np.maximum(np.abs(band) - np.float32(NOISE), 0)


def lay_over(first: Plane, second: Plane) -> Laid:
    """Lay the detail of two pictures over each other.

    Parameters
    ----------
    first, second : Plane
        From `find_detail`, of one size. Each is shown against its own local mean, so that lamps of
        other strength or from elsewhere look alike.

    Returns
    -------
    Laid
    """
    mine, its, shared = _evened(first, second)
    red, cyan = (np.clip(shared * each / _BRIGHT, 0, 1) for each in (mine, its))
    codes = (np.sqrt(np.stack([red, cyan, cyan], axis=2)) * 255).round().astype(np.uint8)
    return Laid(codes, _correlation(mine, its, shared))


def choose_cutouts(first: Plane, second: Plane) -> list[Cutout]:
    """Return up to three places, left, middle and right, where both pictures show most detail."""
    height, width = first.shape
    wide, high = min(CUT_PX[0], width // 3), min(CUT_PX[1], height)
    shared = np.sqrt(first * second)
    corner = np.zeros((height + 1, width + 1))
    corner[1:, 1:] = shared.cumsum(axis=0, dtype=np.float64).cumsum(axis=1)
    cutouts = []
    for number, letter in enumerate(LETTERS):
        left, right = number * width // 3, (number + 1) * width // 3
        ys, xs = np.arange(0, height - high + 1, 4), np.arange(left, max(right - wide, left) + 1, 4)
        y, x = ys[:, None], xs[None, :]
        sums = corner[y + high, x + wide] - corner[y, x + wide] - corner[y + high, x] + corner[y, x]
        if float(sums.max()) > 0:
            best = np.unravel_index(int(sums.argmax()), sums.shape)
            cutouts.append(Cutout(letter, int(xs[best[1]]), int(ys[best[0]]), wide, high))
    return cutouts


def show_places(picture: Display, cutouts: list[Cutout]) -> Display:
    """Return a whole picture, at most 640 pixels wide, with the places of the cutouts marked."""
    small = shrink(picture.astype(np.float32), _WIDEST_PX)
    page = Pillow.fromarray(small.round().astype(np.uint8))
    pen, ratio = ImageDraw.Draw(page), small.shape[1] / picture.shape[1]
    for cut in cutouts:
        left, top = cut.x * ratio, cut.y * ratio
        box = [left, top, left + cut.width * ratio - 1, top + cut.height * ratio - 1]
        pen.rectangle(box, outline=_FRAME)
        pen.text(
            (left + 3, top + 1), cut.letter, fill=_FRAME, stroke_width=1, stroke_fill=(0, 0, 0)
        )
    return np.asarray(page, np.uint8)


def _evened(first: Plane, second: Plane) -> tuple[Plane, Plane, Plane]:
    """Return both details over their local means, and where both show something: 0..1."""
    near_first, near_second = (box_mean(each, _LOCAL_PX) for each in (first, second))
    none, whole = _SHARED
    share = np.clip((np.minimum(near_first, near_second) - none) / (whole - none), 0, 1)
    mine = first / np.maximum(near_first, np.float32(1e-3))
    its = second / np.maximum(near_second, np.float32(1e-3))
    evened = [np.asarray(each, dtype=np.float32) for each in (mine, its, share)]
    return evened[0], evened[1], evened[2]


def _correlation(mine: Plane, its: Plane, weight: NDArray[np.float32]) -> float:
    total = float(weight.sum())
    if total <= 0:
        return 0.0
    one = mine - float((weight * mine).sum()) / total
    two = its - float((weight * its).sum()) / total
    power = float((weight * one**2).sum()) * float((weight * two**2).sum())
    return float((weight * one * two).sum()) / power**0.5 if power > 0 else 0.0
