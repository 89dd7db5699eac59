"""Luma as clips of H.264 hold it: at a constant rate factor, and at the rates of camera cards.

What a rate means is told in bits a pixel, so that it can be held against a card whatever the size
of its pictures. The card that holds single frames gives each the same room, however dark, and 10
bits a sample (fixed frame size, High 10 Intra: SMPTE RP 2027, where 100 Mb/s at 1920 x 1080 and 25
frames a second are 1.93 bits a pixel); 240 Mb/s for 3840 x 2160 at 25 frames a second, 1.16 bits a
pixel, is the lowest usual mode of its kind, and 100 Mb/s in groups of a dozen frames of 8 bits,
0.48 bits a pixel, the usual other one (both from memory). Chroma is plain grey here and costs
nothing, so luma is given four fifths of the room.
"""

import math
from collections.abc import Callable, Sequence
from fractions import Fraction
from io import BytesIO
from typing import cast

import av
import numpy as np
from av.video.stream import VideoStream
from numpy.typing import NDArray

Luma = NDArray[np.uint8] | NDArray[np.uint16]
"""Codes of 8 bits, or of 10."""

UHD_PIXELS_A_SECOND = 3840 * 2160 * 25
INTRA_BITS = 240e6 / UHD_PIXELS_A_SECOND
GROUP_BITS = 100e6 / UHD_PIXELS_A_SECOND
GROUP = 12
"""Frames from one key frame to the next, about half a second."""
_LUMA_SHARE = 0.8
_FINEST, _COARSEST, _NO_FINER = 1.0, 41.0, 0.05
"""Rate factors that are tried, and how near two are that give the same clip."""
_FINER_OF_10_BITS = 12.0
"""What the finest rate factor goes down by: the coder counts them so that 8 bits keep theirs."""
_HALVES, _GUESSES = 6.0, 3
_CLOSE = 0.05
"""Of the room, that a clip may be larger or smaller than it."""


def code_clip(frames: Sequence[Luma], options: dict[str, str]) -> tuple[bytes, int]:
    """Return a clip of pictures of even size, and how many bytes its frames take.

    Pictures of 16-bit words hold codes of 10 bits.
    """
    packets, taken = BytesIO(), 0
    height, width = frames[0].shape
    form = _form(frames[0])
    middle = 128 if form == "yuv420p" else 512
    grey = np.full((height // 2, width), middle, dtype=frames[0].dtype)
    with av.open(packets, "w", format="mp4") as clip:
        stream = clip.add_stream("libx264", rate=25, options={"threads": "1", **options})
        assert isinstance(stream, VideoStream)
        stream.width, stream.height, stream.pix_fmt = width, height, form
        for number, luma in enumerate(frames):
            whole = cast(NDArray[np.uint8], np.concatenate([luma, grey]))
            frame = av.VideoFrame.from_ndarray(whole, format=form)
            frame.pts, frame.time_base = number, Fraction(1, 25)
            for packet in stream.encode(frame):
                taken += packet.size
                clip.mux(packet)
        for packet in stream.encode(None):
            taken += packet.size
            clip.mux(packet)
    return packets.getvalue(), taken


def _form(luma: Luma) -> str:
    return "yuv420p" if luma.dtype == np.uint8 else "yuv420p10le"


def decode_luma(clip: bytes, number: int) -> Luma:
    """Return the luma of one frame of a clip, counted from 0 in the order of showing."""
    at = -1
    with av.open(BytesIO(clip), "r") as written:
        for at, picture in enumerate(written.decode(video=0)):
            if at == number:
                whole = picture.to_ndarray(format=picture.format.name)
                return cast(Luma, whole[: picture.height])
    raise ValueError(f"the clip has {at + 1} frames, number {number} was asked for")


def fill_room(
    code: Callable[[float], tuple[bytes, int]], room: float, finest: float = _FINEST
) -> tuple[bytes, int]:
    """Return the clip that fills a room (bytes) to 5 %, or the finest one if that is smaller.

    `code` makes the clip at a rate factor.
    """
    low, high, factor, tries = finest, _COARSEST, finest, 0
    while True:
        made = code(factor)
        if made[1] <= room * (1 + _CLOSE) and (factor == finest or made[1] >= room * (1 - _CLOSE)):
            return made
        low, high = (factor, high) if made[1] > room else (low, factor)
        if high - low <= _NO_FINER:
            return made
        # Six steps of the factor halve a clip, about.
        factor += _HALVES * math.log2(made[1] / room)
        tries += 1
        if not low < factor < high or tries > _GUESSES:
            factor = (low + high) / 2


def at_rate_factor(luma: Luma, crf: int) -> Luma:
    """Return a picture after a key frame of its own."""
    return decode_luma(code_clip([luma], {"crf": str(crf)})[0], 0)


def from_intra_card(luma: Luma, bits: float = INTRA_BITS) -> Luma:
    """Return a picture after a card that gives each frame the same room, bits a pixel."""

    def code(factor: float) -> tuple[bytes, int]:
        # Factors below 0 reach the coder by its own parameters only.
        return code_clip([luma], {"preset": "veryfast", "x264-params": f"crf={factor:.2f}"})

    finest = _FINEST if luma.dtype == np.uint8 else _FINEST - _FINER_OF_10_BITS
    return decode_luma(fill_room(code, bits / 8 * _LUMA_SHARE * luma.size, finest)[0], 0)


def from_group_card(frames: Sequence[Luma], number: int, bits: float = GROUP_BITS) -> Luma:
    """Return one frame of a group of pictures that shares a room: key frame, then P and B."""
    options = {"preset": "veryfast", "g": str(len(frames)), "bf": "2", "sc_threshold": "0"}

    def code(factor: float) -> tuple[bytes, int]:
        return code_clip(frames, {**options, "crf": f"{factor:.2f}"})

    room = bits / 8 * _LUMA_SHARE * sum(each.size for each in frames)
    return decode_luma(fill_room(code, room)[0], number)
