"""What a clip says of itself: size, rate, bits, colour tags, timecode."""

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from av.container import InputContainer
from av.video.stream import VideoStream

from glimsum_jobs.errors import SourceError
from glimsum_jobs.problems import Place
from glimsum_workers.engine.codes import Matrix, Siting
from glimsum_workers.frames.limits import LARGEST_SIDE_PX

CODECS = ("h264", "hevc", "prores")
"""Coded pictures that are read: ITU-T H.264, ITU-T H.265, SMPTE RDD 36."""

_FORMATS = {
    f"yuv{sampling}p{ending}": bits
    for sampling in (420, 422, 444)
    for ending, bits in (("", 8), ("10le", 10), ("12le", 12))
}
_FULL_FORMATS = {f"yuvj{sampling}p": 8 for sampling in (420, 422, 444)}
# Code points of ITU-T H.273, tables 2 (primaries), 3 (transfer) and 4 (matrix), from memory.
_MATRICES: dict[int, Matrix] = {1: "bt709", 5: "bt601", 6: "bt601", 9: "bt2020"}
_UNSTATED = (2, None)
_TRANSFERS = {
    1: "bt709",
    4: "gamma22",
    5: "gamma28",
    6: "bt601",
    8: "linear",
    13: "srgb",
    14: "bt2020",
    15: "bt2020",
    16: "pq",
    18: "hlg",
}
_PRIMARIES = {1: "bt709", 5: "bt601_625", 6: "bt601_525", 9: "bt2020", 11: "dci_p3", 12: "p3_d65"}
_RANGES: dict[int, Literal["limited", "full"]] = {1: "limited", 2: "full"}


@dataclass(frozen=True)
class ClipFacts:
    """What a clip says of itself; None where it says nothing.

    Attributes
    ----------
    width, height : int
        Pixels, as stored; a rotation tag is not followed.
    count : int
        Frames that are shown, counted, not taken from the header.
    rate : Fraction
        Frames a second.
    variable_rate : bool
        True where frames last for different times; such a clip is refused when it is read.
    bits : int
        8, 10 or 12.
    pixel_format, codec : str
        Names as the decoder gives them.
    matrix : Matrix or None
    range : str or None
        ``limited`` or ``full``.
    transfer, primaries : str or None
        Tags by ITU-T H.273; a camera's log curve usually has no tag.
    siting : Siting
        H.264 and H.265 without a note mean ``left``; the note itself can't be read here.
    timecode : str or None
        Of the first frame, as written.
    """

    width: int
    height: int
    count: int
    rate: Fraction
    variable_rate: bool
    bits: int
    pixel_format: str
    codec: str
    matrix: Matrix | None
    range: Literal["limited", "full"] | None
    transfer: str | None
    primaries: str | None
    siting: Siting
    timecode: str | None

    @property
    def matrix_or_usual(self) -> Matrix:
        """The matrix, or by size where there is no tag (common practice, no source)."""
        if self.matrix is not None:
            return self.matrix
        return "bt709" if self.height > 576 or self.width > 1024 else "bt601"


@dataclass(frozen=True)
class StreamFacts:
    """The parts of `ClipFacts` that need no look at the frames."""

    bits: int
    matrix: Matrix | None
    range: Literal["limited", "full"] | None


def check_stream(stream: VideoStream, file: str) -> StreamFacts:
    """Return bits, matrix and range of a stream, or refuse it.

    Raises
    ------
    SourceError
        The codec, pixel format, matrix, size or field order is not one that is read.
    """
    context = stream.codec_context
    name = context.pix_fmt or "unknown"
    bits = {**_FORMATS, **_FULL_FORMATS}.get(name)
    _expect(file, "codec", context.codec.name, CODECS)
    if bits is None:
        raise SourceError(
            "pixels of this format are not read from a clip",
            place=Place(file=file),
            seen=name,
            expected="planar Y'CbCr 4:2:0, 4:2:2 or 4:4:4 of 8, 10 or 12 bits, without alpha",
            remedy="Export RGB or alpha as a sequence of pictures.",
        )
    matrix = context.colorspace
    if int(matrix) not in (*_MATRICES, *_UNSTATED):
        _expect(file, "matrix", f"H.273 code point {int(matrix)}", ("1", "5", "6", "9"))
    if max(context.width, context.height) > LARGEST_SIDE_PX:
        raise SourceError(
            "the clip is too large",
            place=Place(file=file),
            seen=f"{context.width} x {context.height} pixels",
            expected=f"{LARGEST_SIDE_PX} x {LARGEST_SIDE_PX} pixels at most",
        )
    told = "full" if name in _FULL_FORMATS else _RANGES.get(int(context.color_range))
    return StreamFacts(bits, _MATRICES.get(int(matrix)), told)


def describe_clip(
    container: InputContainer, stream: VideoStream, count: int, *, variable_rate: bool, file: str
) -> ClipFacts:
    """Return the facts of an open clip whose frames have been counted.

    Raises
    ------
    SourceError
        As `check_stream`, and where no frame rate is told.
    """
    checked = check_stream(stream, file)
    context = stream.codec_context
    rate = stream.average_rate or stream.guessed_rate
    if not rate:
        raise SourceError(
            "the clip tells no frame rate",
            place=Place(file=file),
            seen="none",
            expected="a constant rate",
        )
    return ClipFacts(
        width=context.width,
        height=context.height,
        count=count,
        rate=Fraction(rate),
        variable_rate=variable_rate,
        bits=checked.bits,
        pixel_format=context.pix_fmt or "",
        codec=context.codec.name,
        matrix=checked.matrix,
        range=checked.range,
        transfer=_TRANSFERS.get(int(context.color_trc)),
        primaries=_PRIMARIES.get(int(context.color_primaries)),
        siting="left",
        timecode=_timecode(container),
    )


def _timecode(container: InputContainer) -> str | None:
    places = [*(stream.metadata for stream in container.streams), container.metadata]
    return next((place["timecode"] for place in places if place.get("timecode")), None)


def _expect(file: str, what: str, seen: str, known: tuple[str, ...]) -> None:
    if seen not in known:
        raise SourceError(
            f"clips with this {what} are not read",
            place=Place(file=file),
            seen=seen,
            expected=f"one of {', '.join(known)}",
        )
