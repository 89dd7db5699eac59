"""Contact sheets: small pictures with their names, on one page."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
from PIL import Image as Pillow
from PIL import ImageDraw, ImageFont

from glimsum_jobs.errors import OutputError
from glimsum_jobs.problems import Place
from glimsum_workers.frames.previews import Display, encode_picture
from glimsum_workers.frames.whole import nothing_to_ask, write_whole

_GAP_PX = 12
_TEXT_PX = 16
_SMALLEST_TEXT_PX = 9
_LINE_PX = 24
_GROUND = (46, 46, 46)
_INK = (235, 235, 235)
LARGEST_SIDE_PX = 16384
"""Of a sheet, pixels; JPEG holds 65535 a side (ITU-T T.81, B.2.2)."""


@dataclass(frozen=True)
class Labelled:
    """One picture of a sheet.

    Attributes
    ----------
    label : str
        One line under the picture; in smaller letters where it is wider, and cut off where it is
        wider in the smallest.
    picture : Display
        Display codes; all pictures of a sheet may differ in size.
    """

    label: str
    picture: Display


def write_sheet(
    folder: Path,
    name: str,
    pictures: Sequence[Labelled],
    *,
    columns: int,
    title: str = "",
    token: str,
    before_rename: Callable[[], None] = nothing_to_ask,
) -> int:
    """Write a contact sheet, JPEG or PNG by the ending of `name`.

    Parameters
    ----------
    folder : Path
        Must exist.
    name : str
        File name ending in ``.jpg`` or ``.png``.
    pictures : sequence of Labelled
        Left to right, top to bottom.
    columns : int
        Pictures a row, from 1.
    title : str, optional
        A line above.
    token : str
        Part of the temporary name.
    before_rename : callable, optional
        Asked right before the file takes its name.

    Returns
    -------
    int
        Bytes written.

    Raises
    ------
    OutputError
        There is no picture, one is no display picture, the sheet is too large, or the disk is
        full or fails.
    """
    kind = "PNG" if name.lower().endswith(".png") else "JPEG"
    content = encode_picture(
        draw_sheet(pictures, columns, title, str(folder / name)), kind, str(folder / name)
    )
    write_whole(folder, name, content, token, before_rename)
    return len(content)


def sheet_size(
    count: int, columns: int, width: int, height: int, *, titled: bool
) -> tuple[int, int]:
    """Return width and height of a sheet of `count` pictures of one size, pixels."""
    across = min(columns, count)
    top = _GAP_PX + (_LINE_PX if titled else 0)
    rows = -(-count // across)
    return _GAP_PX + across * (width + _GAP_PX), top + rows * (height + _LINE_PX + _GAP_PX)


def draw_sheet(pictures: Sequence[Labelled], columns: int, title: str, file: str) -> Display:
    """Return the sheet as a display picture.

    Parameters
    ----------
    pictures : sequence of Labelled
        Left to right, top to bottom.
    columns : int
        Pictures a row, from 1.
    title : str
        A line above; empty for none.
    file : str
        Name for messages.

    Returns
    -------
    Display
        uint8 (height, width, 3).

    Raises
    ------
    OutputError
        There is no picture, or the sheet would be too large.
    """
    if not pictures or columns < 1:
        raise OutputError(
            "a sheet needs pictures and columns",
            place=Place(file=file),
            seen=f"{len(pictures)} pictures, {columns} columns",
            expected="1 of each at least",
        )
    across = min(columns, len(pictures))
    wide = max(labelled.picture.shape[1] for labelled in pictures)
    high = max(labelled.picture.shape[0] for labelled in pictures)
    width, height = sheet_size(len(pictures), columns, wide, high, titled=bool(title))
    top = _GAP_PX + (_LINE_PX if title else 0)
    high += _LINE_PX
    if max(width, height) > LARGEST_SIDE_PX:
        raise OutputError(
            "a sheet is too large",
            place=Place(file=file),
            seen=f"{width} x {height} pixels",
            expected=f"{LARGEST_SIDE_PX} a side at most: fewer or smaller pictures",
        )
    sheet = Pillow.new("RGB", (width, height), _GROUND)
    if title:
        _line(sheet, title, (_GAP_PX, _GAP_PX // 2), width - 2 * _GAP_PX)
    for index, labelled in enumerate(pictures):
        x = _GAP_PX + index % across * (wide + _GAP_PX)
        y = top + index // across * (high + _GAP_PX)
        sheet.paste(Pillow.fromarray(np.ascontiguousarray(labelled.picture)), (x, y))
        _line(sheet, labelled.label, (x, y + labelled.picture.shape[0]), wide)
    return np.asarray(sheet, np.uint8)


def draw_card(words: str, width: int, height: int) -> Display:
    """Return a card that stands in a movie for a frame that is not there, and says so.

    Parameters
    ----------
    words : str
        One line or several, in the middle.
    width, height : int
        Pixels.

    Returns
    -------
    Display
        Grey, uint8 (height, width, 3): a missing frame is never hidden by a black one.
    """
    card = Pillow.new("RGB", (width, height), _GROUND)
    font = ImageFont.load_default(max(8, width // 32))
    middle = (width / 2, height / 2)
    ImageDraw.Draw(card).text(middle, words, fill=_INK, font=font, anchor="mm", align="center")
    return np.asarray(card, np.uint8)


def _line(sheet: Pillow.Image, words: str, at: tuple[int, int], width_px: int) -> None:
    plain = "".join(letter if letter.isprintable() else " " for letter in words)
    strip = Pillow.new("RGB", (width_px, _LINE_PX), _GROUND)
    ImageDraw.Draw(strip).text((0, 2), plain, fill=_INK, font=_fitting(plain, width_px))
    sheet.paste(strip, at)


@lru_cache(256)
def _fitting(words: str, width_px: int) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    """Return the largest letters in which a line fits; the smallest where none do."""
    for size in range(_TEXT_PX, _SMALLEST_TEXT_PX, -1):
        font = ImageFont.load_default(size)
        if font.getlength(words) <= width_px:
            return font
    return ImageFont.load_default(_SMALLEST_TEXT_PX)
