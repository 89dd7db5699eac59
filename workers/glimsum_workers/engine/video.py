"""From Y', Cb and Cr codes to R'G'B' by our own matrix, in float, with nothing clipped."""

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.errors import SourceError
from glimsum_workers.engine.codes import Image, Matrix, Plane, Siting, VideoPlanes
from glimsum_workers.engine.tables import look_up

VideoRange = Literal["limited", "full"]

# Kr and Kb: ITU-R BT.601-7 item 2.5.1, BT.709-6 item 3.2, BT.2020-2 table 4 (non-constant
# luminance); from memory, checked against a second library in the tests.
_LUMA: dict[Matrix, tuple[float, float]] = {
    "bt601": (0.299, 0.114),
    "bt709": (0.2126, 0.0722),
    "bt2020": (0.2627, 0.0593),
}

_ROWS = 16
"""Rows taken at a time, so that the parts of a row stay in the processor's cache."""


def rgb_from_planes(planes: VideoPlanes, video_range: VideoRange) -> Image:
    """Return R'G'B' of one frame, still encoded by the camera's curve.

    Parameters
    ----------
    planes : VideoPlanes
        Codes as stored, 8 to 16 bits; chroma at full or half size on either axis.
    video_range : {"limited", "full"}
        ``limited``: black at 16 and white at 235 (times 2**(bits - 8)), chroma 224 codes wide;
        ``full``: black at 0, white at 2**bits - 1.

    Returns
    -------
    Image
        float32, (height, width, 3), black 0, white 1. Limited luma codes below 16 and above 235
        reach -0.073 and 1.092 (8 bits: code 0 and 255), strong chroma goes further; all of it
        is kept. Exact to float32 rounding (about 2e-7).

    Raises
    ------
    SourceError
        When a chroma plane is neither full nor half size, or a code exceeds the bits.

    Notes
    -----
    Chroma is interpolated linearly between its true places: on the left luma sample of each
    pair (``left``), between the two (``centre``), or on the upper left one (``top_left``);
    beyond the border the last sample is held.

    References
    ----------
    ITU-R BT.709-6 item 3.2 and 3.5; ITU-R BT.2020-2 table 4 and 5; ITU-R BT.2100-2 table 9
    (full range).
    """
    height, width = planes.luma.shape
    _check_chroma(planes.cb, width, height)
    _check_chroma(planes.cr, width, height)
    kr, kb = _LUMA[planes.matrix]
    kg = 1 - kr - kb
    luma_table = _scale_table(planes.bits, video_range, chroma=False)
    chroma_table = _scale_table(planes.bits, video_range, chroma=True)
    cb = _tall(_look_up(chroma_table, planes.cb), height, planes.siting)
    cr = _tall(_look_up(chroma_table, planes.cr), height, planes.siting)
    whole = _look_up(luma_table, planes.luma)
    rgb = np.empty((height, width, 3), dtype=np.float32)
    for top in range(0, height, _ROWS):
        rows = slice(top, min(top + _ROWS, height))
        luma = whole[rows]
        blue = _wide(cb[rows], width, planes.siting)
        red = _wide(cr[rows], width, planes.siting)
        np.add(luma, red * np.float32(2 * (1 - kr)), out=rgb[rows, :, 0])
        np.add(luma, blue * np.float32(2 * (1 - kb)), out=rgb[rows, :, 2])
        luma -= blue * np.float32(2 * kb * (1 - kb) / kg)
        luma -= red * np.float32(2 * kr * (1 - kr) / kg)
        rgb[rows, :, 1] = luma
    return rgb


def _scale_table(bits: int, video_range: VideoRange, *, chroma: bool) -> Plane:
    """Return the value of every code: luma 0 at black and 1 at white, chroma -0.5 to 0.5."""
    count = 1 << bits
    unit = 1 << (bits - 8)
    zero = 128 * unit if chroma else 16 * unit if video_range == "limited" else 0
    span = count - 1 if video_range == "full" else (224 if chroma else 219) * unit
    return ((np.arange(count, dtype=np.float64) - zero) / span).astype(np.float32)


def _look_up(table: Plane, codes: NDArray[np.uint16]) -> Plane:
    light, highest = look_up(codes, table)
    if highest >= len(table):
        raise SourceError(
            "video code too large for its bits",
            seen=f"code {highest}",
            expected=f"0 to {len(table) - 1} ({(len(table) - 1).bit_length()} bits)",
            remedy="The clip's bit depth is read wrongly, or the clip is damaged.",
        )
    return light


def _check_chroma(chroma: NDArray[np.uint16], width: int, height: int) -> None:
    tall, wide = chroma.shape
    if tall in (height, (height + 1) // 2) and wide in (width, (width + 1) // 2):
        return
    raise SourceError(
        "chroma plane has an unknown size",
        seen=f"{wide} x {tall} beside luma {width} x {height}",
        expected="full or half size on each axis (4:4:4, 4:2:2, 4:2:0, 4:4:0)",
        remedy="Convert the clip to 4:2:2 or 4:2:0, or to a sequence of stills.",
    )


def _tall(chroma: Plane, height: int, siting: Siting) -> Plane:
    """Return `chroma` with `height` rows, linear between its true places."""
    if len(chroma) == height:
        return chroma
    rows = np.empty((2 * len(chroma), chroma.shape[1]), dtype=np.float32)
    if siting == "top_left":
        rows[0::2] = chroma
        rows[1:-1:2] = (chroma[:-1] + chroma[1:]) * np.float32(0.5)
        rows[-1] = chroma[-1]
    else:
        near = chroma * np.float32(0.75)
        far = chroma * np.float32(0.25)
        rows[0] = chroma[0]
        rows[2::2] = near[1:] + far[:-1]
        rows[1:-1:2] = near[:-1] + far[1:]
        rows[-1] = chroma[-1]
    return rows[:height]


def _wide(chroma: Plane, width: int, siting: Siting) -> Plane:
    """Return `chroma` with `width` columns, linear between its true places."""
    if chroma.shape[1] == width:
        return chroma
    columns = np.empty((len(chroma), 2 * chroma.shape[1]), dtype=np.float32)
    if siting == "centre":
        near = chroma * np.float32(0.75)
        far = chroma * np.float32(0.25)
        columns[:, 0] = chroma[:, 0]
        columns[:, 2::2] = near[:, 1:] + far[:, :-1]
        columns[:, 1:-1:2] = near[:, :-1] + far[:, 1:]
    else:
        columns[:, 0::2] = chroma
        columns[:, 1:-1:2] = (chroma[:, :-1] + chroma[:, 1:]) * np.float32(0.5)
    columns[:, -1] = chroma[:, -1]
    return columns[:, :width]
