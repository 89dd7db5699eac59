"""Arrows over a dim picture: what is displaced where, drawn longer than it is."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from PIL import Image as Pillow
from PIL import ImageDraw, ImageFont

from glimsum_workers.frames.previews import Display

_GROUND, _INK, _EDGE, _SIGN = (46, 46, 46), (235, 235, 235), (0, 0, 0), (255, 214, 90)
_TEXT_PX, _NUMBER_PX, _LINE_PX, _GAP_PX = 14, 11, 20, 8
_FACTORS = tuple(digit * 10**power for power in range(5) for digit in (1, 2, 5))


@dataclass(frozen=True)
class Arrow:
    """A displacement of one place.

    Attributes
    ----------
    x, y : float
        The place, as a share of the picture's width and height, 0..1.
    dx, dy : float
        Displacement, pixels of the measured picture.
    sigma : float
        Standard error of dx and of dy, pixels of the measured picture.
    sure : bool
        Drawn as an arrow with its length; otherwise as a ring, with the length that it hardly
        exceeds: its own and two sigmas.
    """

    x: float
    y: float
    dx: float
    dy: float
    sigma: float
    sure: bool

    @property
    def length(self) -> float:
        """Return the length, pixels of the measured picture."""
        return float(np.hypot(self.dx, self.dy))


def arrow_factor(lengths: Sequence[float], longest: float) -> int:
    """Return how many times longer arrows are drawn: 1, 2 or 5 times a power of ten.

    Parameters
    ----------
    lengths : sequence of float
        Lengths of the displacements, pixels of the measured picture.
    longest : float
        How long the longest of them may become, pixels of the drawing.

    Returns
    -------
    int
        The largest that keeps all of them within `longest`, 1 to 50000; 1 where none does.
    """
    most = max(lengths, default=0.0)
    return max((each for each in _FACTORS if each * most <= longest), default=1)


def draw_arrows(
    picture: Display, arrows: Sequence[Arrow], factor: float, *, above: str, below: Sequence[str]
) -> Display:
    """Return a picture with arrows over it, each with a number in pixels.

    Parameters
    ----------
    picture : Display
        Dim, so that the arrows are seen.
    arrows : sequence of Arrow
        In the order in which they are drawn.
    factor : float
        Pixels of the drawing for a pixel of displacement; say it in `above` or `below`.
    above : str
        A line above the picture.
    below : sequence of str
        Lines beneath it.

    Returns
    -------
    Display
        uint8, wider by 16 and higher by 28 pixels plus 20 a line beneath.
    """
    height, width = picture.shape[:2]
    top = _GAP_PX + _LINE_PX
    size = (width + 2 * _GAP_PX, top + height + _GAP_PX + _LINE_PX * len(below))
    page = Pillow.new("RGB", size, _GROUND)
    page.paste(Pillow.fromarray(np.ascontiguousarray(picture)), (_GAP_PX, top))
    pen = ImageDraw.Draw(page)
    text, numbers = ImageFont.load_default(_TEXT_PX), ImageFont.load_default(_NUMBER_PX)
    pen.text((_GAP_PX, top / 2), above, fill=_INK, font=text, anchor="lm")
    for index, line in enumerate(below):
        down = top + height + 4 + _LINE_PX * (index + 0.5)
        pen.text((_GAP_PX, down), line, fill=_INK, font=text, anchor="lm")
    for arrow in arrows:
        at = (_GAP_PX + arrow.x * width, top + arrow.y * height)
        tip = (at[0] + arrow.dx * factor, at[1] + arrow.dy * factor)
        if arrow.sure:
            _draw_arrow(pen, at, tip)
        else:
            _ring(pen, at)
        words = f"{arrow.length:.2f}" if arrow.sure else f"<{arrow.length + 2 * arrow.sigma:.2f}"
        down = at[1] + (14 if arrow.dy <= 0 or not arrow.sure else -14)
        pen.text(
            (at[0], down), words, fill=_INK, font=numbers, anchor="mm",
            stroke_width=2, stroke_fill=_EDGE,
        )  # fmt: skip
    return np.asarray(page, np.uint8)


def _draw_arrow(
    pen: ImageDraw.ImageDraw, start: tuple[float, float], tip: tuple[float, float]
) -> None:
    along = np.array(tip) - start
    length = float(np.hypot(*along))
    if length < 1:
        _ring(pen, start)
        return
    head = min(9.0, 0.5 * length + 2)
    unit = along / length
    side = np.array([-unit[1], unit[0]])
    neck = np.array(tip) - head * unit
    corners = [tip, tuple(neck + 0.45 * head * side), tuple(neck - 0.45 * head * side)]
    for colour, wider in ((_EDGE, 2), (_SIGN, 0)):
        pen.line([start, tuple(neck)], fill=colour, width=2 + wider)
        pen.polygon(corners, fill=colour, outline=colour, width=1 + wider)


def _ring(pen: ImageDraw.ImageDraw, at: tuple[float, float]) -> None:
    for colour, radius in ((_EDGE, 4), (_SIGN, 3)):
        pen.ellipse(
            [(at[0] - radius, at[1] - radius), (at[0] + radius, at[1] + radius)], outline=colour
        )
