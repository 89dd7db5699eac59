"""Open a still picture through a descriptor that is already confined to its root."""

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from OpenImageIO import ImageInput, ImageSpec, geterror

from glimsum_jobs.errors import SourceError
from glimsum_jobs.problems import Place
from glimsum_workers.frames.limits import (
    HEAD_BYTES,
    LARGEST_PICTURE_MB,
    LARGEST_SIDE_PX,
    MOST_CHANNELS,
    Kind,
    kind_of,
    set_reader_limits,
)

DESCRIPTORS = Path("/proc/self/fd") if Path("/proc/self/fd").exists() else Path("/dev/fd")


def kind_of_open(descriptor: int, file: str) -> Kind:
    """Return the kind of an open file; raises as `limits.kind_of`."""
    head = os.pread(descriptor, HEAD_BYTES, 0)
    return kind_of(file, head, os.fstat(descriptor).st_size)


@contextmanager
def opened_picture(descriptor: int, file: str) -> Iterator[ImageInput]:
    """Open the picture behind `descriptor`; alpha is left as it is stored.

    The library chooses its reader by the ending of a path and takes no descriptor, so it is
    given a link of our own to the descriptor: whatever happens to the name meanwhile, it
    reads the file that was opened below its root.

    Parameters
    ----------
    descriptor : int
        Open for reading; not closed here.
    file : str
        Name, for its ending and for messages.

    Yields
    ------
    OpenImageIO.ImageInput
        The open picture, at its first part.

    Raises
    ------
    SourceError
        The file is empty, of another kind, cut off in its header, or too large.
    """
    kind = kind_of_open(descriptor, file)
    if not kind.reader:
        raise SourceError(
            "this is a clip, not a still",
            place=Place(file=file),
            seen=kind.name,
            expected="a picture",
        )
    set_reader_limits()
    config = ImageSpec()
    config.attribute("oiio:UnassociatedAlpha", 1)
    with tempfile.TemporaryDirectory(prefix="glimsum-") as folder:
        link = Path(folder, f"picture.{kind.reader}")
        link.symlink_to(DESCRIPTORS / str(descriptor))
        picture: ImageInput | None = None
        try:
            geterror()
            picture = ImageInput.open(str(link), config)
            if picture is None:
                raise _unreadable(descriptor, file, geterror())
            yield picture
        except UnicodeDecodeError as error:
            # The library hands names and messages on as they stand in a damaged header.
            raise refuse_cut_off(descriptor, file, f"text that is no UTF-8: {error}") from error
        finally:
            if picture is not None:
                picture.close()


def refuse_cut_off(descriptor: int, file: str, message: str) -> SourceError:
    """Return the error for a picture whose header reads and whose pixels do not."""
    return SourceError(
        "the picture is cut off or damaged",
        place=Place(file=file),
        seen=f"{os.fstat(descriptor).st_size} bytes; {_plain(message)}",
        expected="a whole picture",
        remedy="Copy it again from the card, or shoot the frame again.",
    )


def _unreadable(descriptor: int, file: str, message: str) -> SourceError:
    return SourceError(
        "the picture can't be opened",
        place=Place(file=file),
        seen=f"{os.fstat(descriptor).st_size} bytes; {_plain(message)}",
        expected=(
            f"a whole picture of at most {LARGEST_SIDE_PX} x {LARGEST_SIDE_PX} pixels, "
            f"{MOST_CHANNELS} channels, {LARGEST_PICTURE_MB} MB"
        ),
    )


def _plain(message: str) -> str:
    """Return the first line of a library's message without our link's path."""
    lines = message.strip().splitlines() or ["the reader gave no reason"]
    words = lines[0].split(' ("/')[0]
    return " ".join("the file" if "/glimsum-" in word else word for word in words.split())
