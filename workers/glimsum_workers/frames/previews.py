"""Small pictures for eyes and screens: JPEG, whole or absent."""

from collections.abc import Callable
from io import BytesIO
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image as Pillow

from glimsum_jobs.errors import OutputError
from glimsum_jobs.problems import Place
from glimsum_workers.engine.codes import Image
from glimsum_workers.engine.laying import is_worth_it
from glimsum_workers.frames.whole import nothing_to_ask, write_whole

Display = NDArray[np.uint8]
"""A picture as a screen shows it: uint8, (height, width, 3), R G B, display codes 0..255."""

JPEG_QUALITY = 90


def shrink(image: Image, width: int) -> Image:
    """Return `image` at `width` pixels, its shape kept to the nearest whole row.

    Every new pixel is the mean of the area it covers, with parts of pixels counted by their
    share, so that the mean of the picture stays as it was.

    Parameters
    ----------
    image : array (height, width, channels), float32
        Scene-linear; averaging codes would darken lamps.
    width : int
        Pixels, from 1; a picture that is no wider is returned as it is, never enlarged.

    Returns
    -------
    Image
        (new height, `width`, channels), float32; within 1e-6 of the exact mean of values
        around 1.
    """
    height, old_width = image.shape[:2]
    if width >= old_width:
        return image
    new_height = max(1, (2 * height * width + old_width) // (2 * old_width))
    if not is_worth_it((height, old_width)):
        return _average(_average(image, 0, new_height), 1, width)
    from glimsum_workers.engine.compiled.area import average_area  # noqa: PLC0415  # costs 0.5 s

    made = np.empty((new_height, width, image.shape[2]), np.float32)
    average_area(np.ascontiguousarray(image, np.float32), made)
    return made


def write_preview(
    folder: Path,
    name: str,
    picture: Display,
    token: str,
    before_rename: Callable[[], None] = nothing_to_ask,
) -> int:
    """Write a JPEG of quality 90 without chroma subsampling.

    Parameters
    ----------
    folder : Path
        Must exist.
    name : str
        File name with its ending.
    picture : Display
        Shrink scene-linear light first (`shrink`), then apply the view.
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
        The picture's shape or type is wrong, or the disk is full or fails.
    """
    content = encode_picture(picture, "JPEG", str(folder / name))
    write_whole(folder, name, content, token, before_rename)
    return len(content)


def encode_picture(picture: Display, kind: str, file: str, *, quick: bool = False) -> bytes:
    """Return `picture` as JPEG (quality 90, no chroma subsampling) or PNG.

    Parameters
    ----------
    picture : Display
        What a screen shows.
    kind : {"JPEG", "PNG"}
        Of file.
    file : str
        Name, for messages.
    quick : bool
        A PNG in half the time and with a tenth more bytes; the same pixels.

    Returns
    -------
    bytes
        The whole file.

    Raises
    ------
    OutputError
        The picture's shape or type is wrong.
    """
    if picture.dtype != np.uint8 or picture.ndim != 3 or picture.shape[2] != 3:
        raise OutputError(
            "a picture of this shape can't be shown",
            place=Place(file=file),
            seen=f"{picture.dtype} {picture.shape}",
            expected="uint8 (height, width, 3)",
        )
    out = BytesIO()
    packing = {"compress_level": 1} if quick else {}
    options = {"quality": JPEG_QUALITY, "subsampling": 0} if kind == "JPEG" else packing
    Pillow.fromarray(np.ascontiguousarray(picture)).save(out, kind, **options)
    return out.getvalue()


def _average(image: Image, axis: int, size: int) -> Image:
    old = image.shape[axis]
    if size == old:
        return image
    moved = np.moveaxis(image, axis, 0)
    edges = np.arange(size + 1, dtype=np.float64) * old / size
    first = np.floor(edges[:-1]).astype(np.intp)
    taps = int(np.max(np.ceil(edges[1:]) - first))
    total = np.zeros((size, *moved.shape[1:]), np.float32)
    for tap in range(taps):
        at = first + tap
        share = _share(edges, at) * size / old
        weight = share.astype(np.float32).reshape(-1, *[1] * (moved.ndim - 1))
        total += weight * moved[np.minimum(at, old - 1)]
    return np.ascontiguousarray(np.moveaxis(total, 0, axis))


def _share(edges: NDArray[np.float64], at: NDArray[np.intp]) -> NDArray[np.float64]:
    """Return how much of old pixel `at` lies between the edges of its new pixel."""
    covered = np.minimum(edges[1:], at + 1.0) - np.maximum(edges[:-1], at)
    return np.asarray(np.maximum(covered, 0), np.float64)
