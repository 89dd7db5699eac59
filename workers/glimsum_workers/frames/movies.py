"""Viewing movies: H.264, 8 bit 4:2:0, limited range, BT.709, playable anywhere."""

from collections.abc import Callable, Iterable
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
from av.error import FFmpegError
from av.video.frame import VideoFrame
from av.video.stream import VideoStream
from numpy.typing import NDArray

from glimsum_jobs.errors import OutputError
from glimsum_jobs.problems import Place
from glimsum_workers.frames.previews import Display
from glimsum_workers.frames.whole import nothing_to_ask, placing

_KR, _KB = np.float32(0.2126), np.float32(0.0722)
"""ITU-R BT.709-6, item 3.2."""
_BT709, _LIMITED = 1, 1
"""Code points of ITU-T H.273; the range as libavutil counts it."""


def write_movie(
    folder: Path,
    name: str,
    frames: Iterable[Display],
    rate: Fraction,
    *,
    token: str,
    before_rename: Callable[[], None] = nothing_to_ask,
) -> int:
    """Write a movie with its index first, so that it plays while it loads.

    The same frames give the same bytes with the same encoder. An odd width or height is made
    even by repeating the last column or row.

    Parameters
    ----------
    folder : Path
        Must exist.
    name : str
        File name ending in ``.mp4``.
    frames : iterable of Display
        In order, all of one size; taken one at a time.
    rate : Fraction
        Frames a second.
    token : str
        Part of the temporary name.
    before_rename : callable, optional
        Asked right before the file takes its name.

    Returns
    -------
    int
        Frames written.

    Raises
    ------
    OutputError
        There is no frame, one has another size, or the disk is full or fails.
    """
    with placing(folder, name, token, before_rename) as temp:
        try:
            return _encode(temp, frames, rate, str(folder / name))
        except FFmpegError as error:
            raise OutputError(
                "the movie can't be written whole; nothing is left of it",
                place=Place(file=str(folder / name)),
                seen=str(error),
                expected="a folder that exists, with room on its disk",
            ) from error


def display_to_planes(picture: Display) -> tuple[NDArray[np.uint8], ...]:
    """Return Y', Cb, Cr of 8 bits, limited range, 4:2:0, chroma sited left.

    Parameters
    ----------
    picture : Display
        Even height and width.

    Returns
    -------
    tuple of uint8 array
        (height, width), then two of (height / 2, width / 2); ITU-R BT.709-6, items 3.2 to
        3.5, rounded to the nearest code.
    """
    red, green, blue = np.moveaxis(picture.astype(np.float32) / np.float32(255), 2, 0)
    luma = _KR * red + (1 - _KR - _KB) * green + _KB * blue
    cb = (blue - luma) / (2 * (1 - _KB))
    cr = (red - luma) / (2 * (1 - _KR))
    codes = (16 + 219 * luma, 128 + 224 * _halve(cb), 128 + 224 * _halve(cr))
    return tuple(np.rint(plane).astype(np.uint8) for plane in codes)


def _halve(plane: NDArray[np.float32]) -> NDArray[np.float32]:
    """Mean of two rows; 1 2 1 across, so that samples lie on the left ones (H.264, type 0)."""
    rows = (plane[0::2] + plane[1::2]) / 2
    padded = np.pad(rows, ((0, 0), (1, 0)), mode="edge")
    left, middle, right = padded[:, 0:-1:2], padded[:, 1::2], padded[:, 2::2]
    return np.asarray((left + 2 * middle + right) / 4, np.float32)


def _encode(temp: Path, frames: Iterable[Display], rate: Fraction, file: str) -> int:
    options = {"movflags": "+faststart", "fflags": "+bitexact"}
    count = 0
    size = (0, 0)
    with av.open(str(temp), "w", format="mp4", options=options) as container:
        stream = container.add_stream("libx264", rate=rate)
        for picture in frames:
            if not count:
                size = (picture.shape[0], picture.shape[1])
                _prepare(stream, size, rate)
            if picture.shape != (*size, 3) or picture.dtype != np.uint8:
                raise _odd_one(file, count, picture, size)
            frame = _frame(picture)
            frame.pts, frame.time_base = count, 1 / rate
            container.mux(stream.encode(frame))
            count += 1
        if not count:
            raise OutputError(
                "a movie has no frame",
                place=Place(file=file),
                seen="0 frames",
                expected="1 at least",
            )
        container.mux(stream.encode())
    return count


def _prepare(stream: VideoStream, size: tuple[int, int], rate: Fraction) -> None:
    stream.height, stream.width = size[0] + size[0] % 2, size[1] + size[1] % 2
    stream.pix_fmt = "yuv420p"
    stream.options = {"crf": "16", "preset": "medium", "g": str(2 * round(rate) or 1)}
    context = stream.codec_context
    # One thread: more of them split the picture differently on another machine.
    context.thread_count = 1
    context.color_range = _LIMITED
    context.colorspace = context.color_primaries = context.color_trc = _BT709


def _frame(picture: Display) -> VideoFrame:
    height, width = picture.shape[:2]
    even = np.pad(picture, ((0, height % 2), (0, width % 2), (0, 0)), mode="edge")
    frame = VideoFrame(even.shape[1], even.shape[0], "yuv420p")
    for plane, codes in zip(frame.planes, display_to_planes(even), strict=True):
        rows = np.zeros((plane.height, plane.line_size), np.uint8)
        rows[:, : plane.width] = codes
        plane.update(rows.tobytes())
    frame.color_range, frame.colorspace = _LIMITED, _BT709
    return frame


def _odd_one(file: str, count: int, picture: Display, size: tuple[int, int]) -> OutputError:
    return OutputError(
        "a frame of a movie has another shape than the first",
        place=Place(file=file),
        seen=f"frame {count} of the movie: {picture.dtype} {picture.shape}",
        expected=f"uint8 {(*size, 3)}",
    )
