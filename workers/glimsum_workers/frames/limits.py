"""What may be read at all: the formats we know by name and by content, and how big they may be."""

from dataclasses import dataclass
from functools import cache

from OpenImageIO import attribute

from glimsum_jobs.errors import SourceError
from glimsum_jobs.problems import Place

MOST_CHANNELS = 64
LARGEST_SIDE_PX = 16384
LARGEST_PICTURE_MB = 2048
HEAD_BYTES = 16
"""As many first bytes as `kind_of` looks at."""


@dataclass(frozen=True)
class Kind:
    """One kind of file that can be read.

    Attributes
    ----------
    name : str
        How messages and facts call it.
    endings : tuple of str
        Endings of file names, lower case, without the dot.
    starts : tuple of (int, bytes)
        Positions and bytes; one of them stands in every file of the kind.
    reader : str
        Ending that makes the picture library choose the reader; empty for clips.
    """

    name: str
    endings: tuple[str, ...]
    starts: tuple[tuple[int, bytes], ...]
    reader: str

    def starts_like(self, head: bytes) -> bool:
        """Tell whether `head`, the first bytes of a file, belong to this kind."""
        return any(head[at : at + len(mark)] == mark for at, mark in self.starts)


# First bytes: OpenEXR file layout; SMPTE ST 268-1; TIFF 6.0 and BigTIFF; W3C PNG; ISO 10918-1;
# ISO 14496-12 ("ftyp") and the older QuickTime atoms (from memory).
KINDS = (
    Kind("exr", ("exr",), ((0, b"\x76\x2f\x31\x01"),), "exr"),
    Kind("dpx", ("dpx",), ((0, b"SDPX"), (0, b"XPDS")), "dpx"),
    Kind(
        "tiff",
        ("tif", "tiff"),
        ((0, b"II*\0"), (0, b"MM\0*"), (0, b"II+\0"), (0, b"MM\0+")),
        "tif",
    ),
    Kind("png", ("png",), ((0, b"\x89PNG\r\n\x1a\n"),), "png"),
    Kind("jpeg", ("jpg", "jpeg"), ((0, b"\xff\xd8\xff"),), "jpg"),
    Kind(
        "clip",
        ("mp4", "mov", "m4v"),
        ((4, b"ftyp"), (4, b"moov"), (4, b"mdat"), (4, b"wide"), (4, b"free"), (4, b"skip")),
        "",
    ),
)


def endings_known() -> str:
    """Return the endings that can be read, for messages."""
    return ", ".join(f".{ending}" for kind in KINDS for ending in kind.endings)


def kind_by_name(file: str) -> Kind:
    """Return the kind that the name of `file` promises.

    Raises
    ------
    SourceError
        No kind has that ending.
    """
    _, dot, ending = file.lower().rpartition(".")
    for kind in KINDS:
        if dot and ending in kind.endings:
            return kind
    raise SourceError(
        "files of this kind are not read",
        place=Place(file=file),
        seen=f".{ending}" if dot else "no ending",
        expected=f"one of {endings_known()}",
    )


def kind_of(file: str, head: bytes, size: int) -> Kind:
    """Return the kind of a file, by its name and its first bytes.

    Parameters
    ----------
    file : str
        Name, for its ending and for messages.
    head : bytes
        The first `HEAD_BYTES` bytes.
    size : int
        Size of the file, bytes.

    Returns
    -------
    Kind
        The kind that both agree on.

    Raises
    ------
    SourceError
        The ending is unknown, the file is empty, or its content is of another kind.
    """
    kind = kind_by_name(file)
    if size == 0:
        raise SourceError(
            "the file is empty",
            place=Place(file=file),
            seen="0 bytes",
            expected=f"a {kind.name} file",
            remedy="Copy it again from the card.",
        )
    if not kind.starts_like(head):
        other = next((known.name for known in KINDS if known.starts_like(head)), None)
        raise SourceError(
            f"the content is not what the ending .{file.rpartition('.')[2]} says",
            place=Place(file=file),
            seen=other or f"first bytes {head[:8].hex(' ')}, {size} bytes in all",
            expected=kind.name,
            remedy="Rename the file, or copy it again from the card.",
        )
    return kind


@cache
def set_reader_limits() -> None:
    """Bound what the picture library takes on, once for this process.

    One thread a process: a machine runs one worker process per core, and more threads than
    cores cost time.
    """
    attribute("limits:channels", MOST_CHANNELS)
    attribute("limits:imagesize_MB", LARGEST_PICTURE_MB)
    attribute("limits:resolution", LARGEST_SIDE_PX)
    attribute("threads", 1)
    attribute("exr_threads", -1)
    attribute("try_all_readers", 0)
