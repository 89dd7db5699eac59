"""Clips whose every frame carries its own number, coded as cameras code them."""

from collections.abc import Callable, Mapping, Sequence
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
from av.video.frame import VideoFrame
from av.video.stream import VideoStream

LONG_GOP = {"bf": "3", "g": "48", "crf": "4", "preset": "fast"}


def numbered(number: int, size: tuple[int, int], pixel_format: str) -> VideoFrame:
    """Make a frame: its number as luma in the left half, a moving ramp in the right."""
    width, height = size
    frame = VideoFrame(width, height, pixel_format)
    step = 1 if pixel_format.endswith("p") else 4
    for index, plane in enumerate(frame.planes):
        wide = np.uint8 if step == 1 else np.uint16
        rows = np.zeros((plane.height, plane.line_size // np.dtype(wide).itemsize), wide)
        if index == 0:
            rows[:] = step * (40 + number)
            half = np.arange(width - width // 2) + number
            rows[:, width // 2 : width] = step * (60 + half % 80)
        else:
            rows[:] = step * (100 + index * 20 + number % 30)
        plane.update(rows.tobytes())
    return frame


def write_clip(
    path: Path,
    count: int,
    *,
    size: tuple[int, int] = (96, 54),
    pixel_format: str = "yuv420p",
    codec: str = "libx264",
    rate: Fraction = Fraction(24),
    options: Mapping[str, str] = LONG_GOP,
    times: Sequence[int] | None = None,
    make: Callable[[int, tuple[int, int], str], VideoFrame] = numbered,
    tags: tuple[int, int] = (0, 2),
) -> None:
    """Write `count` numbered frames; `times` in frames of `rate`, `tags` = range, matrix."""
    with av.open(str(path), "w") as container:
        stream = container.add_stream(codec, rate=rate, options=dict(options))
        assert isinstance(stream, VideoStream)
        stream.width, stream.height = size
        stream.pix_fmt = pixel_format
        stream.codec_context.thread_count = 1
        stream.codec_context.color_range, stream.codec_context.colorspace = tags
        for number in range(count):
            frame = make(number, size, pixel_format)
            frame.pts = number if times is None else times[number]
            frame.time_base = 1 / rate
            container.mux(stream.encode(frame))
        container.mux(stream.encode())
