"""Plots of numbers over the frames of a shot, drawn plainly on paper."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from PIL import Image as Pillow
from PIL import ImageDraw, ImageFont

from glimsum_workers.frames.previews import Display

_PAPER, _INK, _RULE = (250, 249, 245), (30, 30, 30), (205, 203, 196)
_LINES = ((20, 80, 140), (170, 70, 20))
_MARGIN, _TEXT_PX = 56, 14


@dataclass(frozen=True)
class Line:
    """One line of a plot.

    Attributes
    ----------
    label : str
        Its name.
    values : sequence of float
        One a frame.
    sigmas : sequence of float or None
        Standard errors, drawn as bars; None where not known.
    """

    label: str
    values: Sequence[float]
    sigmas: Sequence[float | None]


def draw_plot(
    title: str, frames: Sequence[int], lines: Sequence[Line], width: int = 640, height: int = 240
) -> Display:
    """Return a plot of lines over frames.

    Parameters
    ----------
    title : str
        A line above, with the unit.
    frames : sequence of int
        Numbers along the bottom.
    lines : sequence of Line
        At most two; told apart by colour, by mark (dot, cross) and by name.
    width, height : int
        Pixels.

    Returns
    -------
    Display
        uint8 (height, width, 3).
    """
    page = Pillow.new("RGB", (width, height), _PAPER)
    pen, font = ImageDraw.Draw(page), ImageFont.load_default(_TEXT_PX)
    low, high = _span(lines)
    x = np.linspace(_MARGIN, width - 32, max(len(frames), 2))

    def row(value: float) -> float:
        return 32 + (high - value) / (high - low) * (height - 32 - 40)

    pen.text((8, 8), title, fill=_INK, font=font)
    for value in np.linspace(low, high, 5):
        pen.line([(_MARGIN, row(value)), (width - 16, row(value))], fill=_RULE)
        pen.text((6, row(value) - 8), f"{value:+.2f}", fill=_INK, font=font)
    every = max(1, len(frames) // 10)
    for index in range(0, len(frames), every):
        pen.text((x[index] - 14, height - 34), str(frames[index]), fill=_INK, font=font)
    for number, line in enumerate(lines):
        colour = _LINES[number % len(_LINES)]
        places = [(float(x[i]), row(value)) for i, value in enumerate(line.values)]
        if len(places) > 1:
            pen.line(places, fill=colour, width=2)
        for (across, down), value, sigma in zip(places, line.values, line.sigmas, strict=True):
            if sigma is not None:
                pen.line([(across, row(value - sigma)), (across, row(value + sigma))], fill=colour)
            _mark(pen, across, down, number, colour)
        left = _MARGIN + 200 * number
        _mark(pen, left, height - 9, number, colour)
        pen.text((left + 10, height - 18), line.label, fill=_INK, font=font)
    return np.asarray(page, np.uint8)


def _span(lines: Sequence[Line]) -> tuple[float, float]:
    ends = [
        value + sign * min(sigma or 0.0, 1.0)
        for line in lines
        for value, sigma in zip(line.values, line.sigmas, strict=True)
        for sign in (-1, 1)
    ]
    low, high = min([*ends, 0.0]), max([*ends, 0.0])
    room = max(0.1 * (high - low), 0.02)
    return low - room, high + room


def _mark(
    pen: ImageDraw.ImageDraw, across: float, down: float, number: int, colour: tuple[int, int, int]
) -> None:
    if number % 2 == 0:
        pen.ellipse([(across - 3, down - 3), (across + 3, down + 3)], fill=colour)
        return
    pen.line([(across - 4, down - 4), (across + 4, down + 4)], fill=colour, width=2)
    pen.line([(across - 4, down + 4), (across + 4, down - 4)], fill=colour, width=2)
