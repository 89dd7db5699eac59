"""Plots of numbers over frames, or over start offsets, drawn plainly on paper."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from PIL import Image as Pillow
from PIL import ImageDraw, ImageFont

from glimsum_workers.frames.axes import places_of, round_steps
from glimsum_workers.frames.previews import Display

_PAPER, _INK, _RULE = (250, 249, 245), (30, 30, 30), (205, 203, 196)
_LINES = ((20, 80, 140), (170, 70, 20))
_SOFT = ((150, 180, 210), (224, 178, 150))
_LEFT, _RIGHT, _TOP, _BOTTOM, _TEXT_PX = 60, 16, 34, 44, 14
_MARKED = 0.25
"""Marks a pixel of width above which only lines are drawn."""
_MOST_SIGMA = 1.0
"""Longest half of an error bar that the scale makes room for, in the unit of the plot."""


@dataclass(frozen=True)
class Line:
    """One line of a plot.

    Attributes
    ----------
    label : str
        Its name.
    values : sequence of float
        One a number along the bottom.
    sigmas : sequence of float or None
        Standard errors, drawn as bars; None where not known. Empty: no bars.
    doubtful : frozenset of int
        Numbers along the bottom whose mark is drawn hollow.
    """

    label: str
    values: Sequence[float]
    sigmas: Sequence[float | None] = ()
    doubtful: frozenset[int] = field(default_factory=frozenset)


def draw_plot(
    title: str,
    numbers: Sequence[int],
    lines: Sequence[Line],
    *,
    events: Mapping[float, str] | None = None,
    from_zero: bool = True,
    width: int = 640,
    height: int = 260,
) -> Display:
    """Return a plot of lines over whole numbers: frames, or start offsets.

    Parameters
    ----------
    title : str
        A line above, with the unit.
    numbers : sequence of int
        Rising, at least one; they stand where their value says, so gaps stay gaps, and a line is
        broken there.
    lines : sequence of Line
        One or two; told apart by colour, by mark (dot, cross) and by name.
    events : mapping of float to str, optional
        Upright lines at places along the bottom, each with a word.
    from_zero : bool
        The scale holds 0.
    width, height : int
        Pixels.

    Returns
    -------
    Display
        uint8 (height, width, 3). Above a quarter of a mark a pixel only lines are drawn, and
        where several numbers fall on one column of pixels, from the lowest to the highest; a tick
        at the bottom stands for a hollow mark.

    Raises
    ------
    ValueError
        There is no number, or a line has another count of values.
    """
    if not numbers or any(len(line.values) != len(numbers) for line in lines):
        counts = [len(line.values) for line in lines]
        raise ValueError(f"{len(numbers)} numbers along the bottom, {counts} values on the lines")
    page = Pillow.new("RGB", (width, height), _PAPER)
    sheet = _Sheet(ImageDraw.Draw(page), ImageFont.load_default(_TEXT_PX), (width, height))
    across = _across(numbers, width)
    low, high = _span(lines, from_zero=from_zero)
    sheet.pen.text((8, 8), title, fill=_INK, font=sheet.font)
    sheet.draw_scale(low, high)
    sheet.draw_numbers(numbers, across)
    for place, word in (events or {}).items():
        sheet.draw_event(float(np.interp(place, *_ends(numbers, across))), word)
    for index, line in enumerate(lines):
        sheet.draw_line(index, line, numbers, across)
        sheet.draw_key(index, line.label)
    return np.asarray(page, np.uint8)


class _Sheet:
    """Draws on a page whose scale is set once."""

    def __init__(
        self,
        pen: ImageDraw.ImageDraw,
        font: ImageFont.FreeTypeFont | ImageFont.ImageFont,
        size: tuple[int, int],
    ) -> None:
        self.pen = pen
        self.font = font
        self._width, self._height = size
        self._low, self._high = 0.0, 1.0

    def row(self, value: float) -> float:
        """Return how far down a value stands, pixels."""
        room = self._height - _TOP - _BOTTOM
        return _TOP + (self._high - value) / (self._high - self._low) * room

    def draw_scale(self, low: float, high: float) -> None:
        self._low, self._high = low, high
        steps = round_steps(low, high, 6)
        for value in steps:
            down = self.row(value)
            self.pen.line([(_LEFT, down), (self._width - _RIGHT, down)], fill=_RULE)
            words = f"{value:+.{places_of(steps)}f}" if value else "0"
            self.pen.text((_LEFT - 6, down), words, fill=_INK, font=self.font, anchor="rm")

    def draw_numbers(self, numbers: Sequence[int], across: NDArray[np.float64]) -> None:
        down = self._height - _BOTTOM
        for number in _labelled(numbers, most=(self._width - _LEFT) // 64):
            x = float(np.interp(number, *_ends(numbers, across)))
            self.pen.line([(x, down), (x, down + 4)], fill=_INK)
            self.pen.text((x, down + 6), str(number), fill=_INK, font=self.font, anchor="mt")

    def draw_event(self, x: float, word: str) -> None:
        for down in range(_TOP, self._height - _BOTTOM, 6):
            self.pen.line([(x, down), (x, down + 2)], fill=_INK)
        anchor = "rt" if x > self._width / 2 else "lt"
        at = (x - 4 if anchor == "rt" else x + 4, _TOP + 2)
        self.pen.text(at, word, fill=_INK, font=self.font, anchor=anchor)

    def draw_line(
        self, index: int, line: Line, numbers: Sequence[int], across: NDArray[np.float64]
    ) -> None:
        colour, soft = _LINES[index % 2], _SOFT[index % 2]
        sigmas = line.sigmas or [None] * len(line.values)
        crowded = len(numbers) > _MARKED * (self._width - _LEFT - _RIGHT)
        if crowded:
            bars = [
                value + (sigma or 0.0) for value, sigma in zip(line.values, sigmas, strict=True)
            ]
            feet = [
                value - (sigma or 0.0) for value, sigma in zip(line.values, sigmas, strict=True)
            ]
            self._draw_columns(across, feet, bars, soft)
            self._draw_columns(across, line.values, line.values, colour)
            self._draw_doubt(line, numbers, across)
            return
        for first, last in _stretches(numbers):
            places = [(float(across[i]), self.row(line.values[i])) for i in range(first, last)]
            if len(places) > 1:
                self.pen.line(places, fill=colour, width=2)
        for x, value, sigma, number in zip(across, line.values, sigmas, numbers, strict=True):
            if sigma is not None:
                ends = [(x, self.row(value - sigma)), (x, self.row(value + sigma))]
                self.pen.line(ends, fill=colour)
            self._mark(float(x), self.row(value), index, hollow=number in line.doubtful)

    def _draw_doubt(self, line: Line, numbers: Sequence[int], across: NDArray[np.float64]) -> None:
        """Stand ticks on the numbers whose mark would be hollow."""
        foot = self._height - _BOTTOM
        doubtful = [number in line.doubtful for number in numbers]
        for x in np.unique(np.rint(across[doubtful])).tolist():
            self.pen.line([(x, foot - 6), (x, foot)], fill=_INK)

    def draw_key(self, index: int, label: str) -> None:
        left, down = _LEFT + 250 * index, self._height - 10
        self._mark(left, down, index, hollow=False)
        self.pen.text((left + 10, down), label, fill=_INK, font=self.font, anchor="lm")

    def _draw_columns(
        self,
        across: NDArray[np.float64],
        feet: Sequence[float],
        heads: Sequence[float],
        colour: tuple[int, int, int],
    ) -> None:
        columns = np.rint(across).astype(np.intp)
        starts = np.flatnonzero(np.diff(columns, prepend=-1))
        low = np.minimum.reduceat(np.asarray(feet), starts)
        high = np.maximum.reduceat(np.asarray(heads), starts)
        for x, under, over in zip(columns[starts].tolist(), low, high, strict=True):
            self.pen.line(
                [(x, self.row(float(under)) + 1), (x, self.row(float(over)))], fill=colour
            )

    def _mark(self, across: float, down: float, index: int, *, hollow: bool) -> None:
        colour = _LINES[index % 2]
        if hollow:
            box = [(across - 4, down - 4), (across + 4, down + 4)]
            self.pen.ellipse(box, outline=colour, fill=_PAPER)
        elif index % 2 == 0:
            self.pen.ellipse([(across - 3, down - 3), (across + 3, down + 3)], fill=colour)
            return
        if index % 2:
            self.pen.line([(across - 4, down - 4), (across + 4, down + 4)], fill=colour, width=2)
            self.pen.line([(across - 4, down + 4), (across + 4, down - 4)], fill=colour, width=2)


def _across(numbers: Sequence[int], width: int) -> NDArray[np.float64]:
    at = np.asarray(numbers, dtype=np.float64)
    if len(at) == 1:
        return np.array([(_LEFT + width - _RIGHT) / 2])
    left, right = _LEFT + 16, width - _RIGHT - 16
    return np.asarray(left + (at - at[0]) / (at[-1] - at[0]) * (right - left), dtype=np.float64)


def _ends(numbers: Sequence[int], across: NDArray[np.float64]) -> tuple[list[float], list[float]]:
    return [float(numbers[0]), float(numbers[-1])], [float(across[0]), float(across[-1])]


def _labelled(numbers: Sequence[int], most: int) -> list[int]:
    if len(numbers) == 1:
        return [numbers[0]]
    steps = round_steps(numbers[0], numbers[-1], max(most, 2))
    whole = [int(step) for step in steps if step == int(step)]
    return whole or [numbers[0], numbers[-1]]


def _stretches(numbers: Sequence[int]) -> list[tuple[int, int]]:
    """Return first and past-the-last place of each run of numbers without a gap."""
    gaps = (np.flatnonzero(np.diff(np.asarray(numbers)) > 1) + 1).tolist()
    return list(zip([0, *gaps], [*gaps, len(numbers)], strict=True))


def _span(lines: Sequence[Line], *, from_zero: bool) -> tuple[float, float]:
    ends = [
        value + sign * min(sigma or 0.0, _MOST_SIGMA)
        for line in lines
        for value, sigma in zip(line.values, line.sigmas or [None] * len(line.values), strict=True)
        for sign in (-1, 1)
    ]
    zero = [0.0] if from_zero else []
    low, high = min([*ends, *zero]), max([*ends, *zero])
    room = max(0.1 * (high - low), 0.01 * abs(high) if not from_zero else 0.02, 1e-6)
    return low - room, high + room
