"""Read single frames of a clip exactly, in any order, as the codes the decoder gives."""

import os
from collections.abc import Iterator
from contextlib import suppress
from types import TracebackType
from typing import Self

import av
import numpy as np
from av.container import InputContainer
from av.error import FFmpegError
from av.video.frame import VideoFrame
from av.video.plane import VideoPlane
from numpy.typing import NDArray

from glimsum_jobs.errors import SourceError
from glimsum_jobs.problems import Place
from glimsum_workers.engine.codes import VideoPlanes
from glimsum_workers.frames.clip_facts import ClipFacts, describe_clip
from glimsum_workers.frames.clip_index import ClipIndex, index_clip
from glimsum_workers.frames.identities import Identity, Remembered, identity_of
from glimsum_workers.frames.pictures import kind_of_open

MOST_KEPT = 4
"""Frames a clip keeps at most; who asks for neighbours goes one or two back at each frame."""

_INDEXES: Remembered[Identity, ClipIndex] = Remembered(64)


class Clip:
    """One open clip; frames are counted from 0 in the order they are shown.

    Frames asked for in order are decoded once, without a jump, also where each goes with its
    neighbours; any other order jumps to the last place before the frame where decoding can
    begin. One thread decodes.

    Parameters
    ----------
    descriptor : int
        Open for reading; the clip owns and closes it.
    file : str
        Name, for its ending and for messages.

    Attributes
    ----------
    decoded : int
        Frames the decoder gave so far, those on the way to one that was asked for included.

    Raises
    ------
    SourceError
        The file is no clip that is read, or is cut off.
    """

    def __init__(self, descriptor: int, file: str) -> None:
        self._file = file
        self._bytes = os.fdopen(descriptor, "rb", buffering=0)
        try:
            self._container = self._open()
        except BaseException:
            self._bytes.close()
            raise
        try:
            self._describe()
        except BaseException:
            self.close()
            raise
        self._number_of = {time: number for number, time in enumerate(self._index.times)}
        self._decoder: Iterator[VideoFrame] = iter(())
        self._next = -1
        self._kept: dict[int, VideoPlanes] = {}
        self._most = 1
        self.decoded = 0

    def _open(self) -> InputContainer:
        kind = kind_of_open(self._bytes.fileno(), self._file)
        if kind.name != "clip":
            raise SourceError(
                "this is a still, not a clip",
                place=Place(file=self._file),
                seen=kind.name,
                expected=".mp4, .mov or .m4v",
            )
        try:
            # Named, so that content can't choose a reader that opens other files.
            return av.open(self._bytes, mode="r", format="mov")
        except (FFmpegError, ValueError) as error:
            raise self._damaged(str(error)) from error

    def _describe(self) -> None:
        if not self._container.streams.video:
            raise self._damaged("no picture track")
        self._stream = self._container.streams.video[0]
        context = self._stream.codec_context
        if context is None:
            raise self._damaged("a picture track of unknown coding")
        context.thread_count = 1
        # A decoder that mends what it can't read would hand a broken picture on.
        context.options = {"err_detect": "explode"}
        identity = identity_of(self._bytes.fileno())
        self._index = _INDEXES.recall(identity, self._make_index)
        self.facts: ClipFacts = describe_clip(
            self._container,
            self._stream,
            len(self._index.times),
            variable_rate=self._index.uneven_frame() is not None,
            file=self._file,
        )

    def read(self, number: int) -> VideoPlanes:
        """Return frame `number`, from 0.

        Returns
        -------
        VideoPlanes
            Y', Cb, Cr exactly as decoded; no range, matrix or size conversion.

        Raises
        ------
        SourceError
            There is no such frame, it can't be decoded whole, or the frames of the clip last
            for different times.
        """
        if not 0 <= number < self.facts.count:
            raise SourceError(
                "the clip has no such frame",
                place=Place(file=self._file),
                seen=f"frame {number}",
                expected=f"0 to {self.facts.count - 1}",
            )
        if self.facts.variable_rate:
            raise self._uneven()
        if number in self._kept:
            return self._kept[number]
        if 0 < self._next - number <= MOST_KEPT:  # just gone by: keep as many from now on
            self._most = max(self._most, self._next - number)
        try:
            frame = self._frame(number)
        except FFmpegError as error:
            self._next = -1
            raise self._damaged(f"frame {number}: {error}") from error
        planes = self._planes(frame)
        self._kept[number] = planes
        while len(self._kept) > self._most:
            del self._kept[max(self._kept, key=lambda each: abs(each - number))]
        return planes

    def close(self) -> None:
        """Close the clip and its file."""
        self._container.close()
        self._bytes.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        self.close()

    def _frame(self, number: int) -> VideoFrame:
        start = self._index.start_before(number)
        if 0 <= self._next <= number and start <= self._next:
            with suppress(LookupError):
                return self._decode_to(number)
        while True:
            self._jump(start)
            try:
                return self._decode_to(number)
            except LookupError:
                # A container may jump past the place; begin one place earlier.
                if start == 0:
                    raise self._damaged(f"frame {number} is listed and not decoded") from None
                start = self._index.start_before(start - 1)

    def _jump(self, start: int) -> None:
        self._container.seek(self._index.times[start], stream=self._stream, backward=True)
        self._decoder = self._container.decode(self._stream)
        self._next = -1

    def _decode_to(self, number: int) -> VideoFrame:
        for frame in self._decoder:
            self.decoded += 1
            shown = self._number_of.get(frame.pts) if frame.pts is not None else None
            if shown is None:
                continue
            self._next = shown + 1
            if shown == number:
                return frame
            if shown > number:
                break
        self._next = -1
        raise LookupError(number)

    def _planes(self, frame: VideoFrame) -> VideoPlanes:
        if frame.is_corrupt or frame.interlaced_frame:
            raise self._damaged("a damaged frame" if frame.is_corrupt else "interlaced fields")
        luma, cb, cr = (_plane(plane, self.facts.bits) for plane in frame.planes)
        facts = self.facts
        return VideoPlanes(luma, cb, cr, facts.bits, facts.matrix_or_usual, facts.siting)

    def _make_index(self) -> ClipIndex:
        try:
            return index_clip(self._container, self._stream, self._file)
        except FFmpegError as error:
            raise self._damaged(str(error)) from error

    def _uneven(self) -> SourceError:
        shortest, longest = self._index.durations_ms()
        return SourceError(
            "the frames of this clip last for different times",
            place=Place(file=self._file),
            seen=(
                f"{shortest:.3f} to {longest:.3f} ms, "
                f"uneven from frame {self._index.uneven_frame()} on"
            ),
            expected=f"{float(1000 / self.facts.rate):.3f} ms each, a constant rate",
            remedy="Export the clip at a constant rate, or as a sequence of pictures.",
        )

    def _damaged(self, seen: str) -> SourceError:
        return SourceError(
            "the clip is cut off or damaged",
            place=Place(file=self._file),
            seen=seen,
            expected="a whole clip of progressive frames",
            remedy="Copy it again from the card.",
        )


def _plane(plane: VideoPlane, bits: int) -> NDArray[np.uint16]:
    wide = np.dtype(np.uint8) if bits == 8 else np.dtype("<u2")
    rows = np.frombuffer(memoryview(plane), np.uint8).reshape(plane.height, plane.line_size)
    codes = np.ascontiguousarray(rows[:, : plane.width * wide.itemsize]).view(wide)
    return codes.astype(np.uint16)
