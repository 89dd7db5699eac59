"""Read one still picture as it is stored: codes or floats, never touched by a conversion."""

from typing import Any

import numpy as np
from numpy.typing import NDArray
from OpenImageIO import ImageSpec

from glimsum_jobs.errors import SourceError
from glimsum_jobs.problems import Place
from glimsum_workers.engine.codes import FloatPixels, Plane, RgbCodes
from glimsum_workers.engine.laying import Halves, side_by_side
from glimsum_workers.frames.channels import Channels, choose_channels
from glimsum_workers.frames.half_files import (
    holds_plain_halves,
    read_planes,
)
from glimsum_workers.frames.pictures import opened_picture, refuse_cut_off

_INTEGER = {"uint8": 8, "uint16": 16}
_FLOATING = ("half", "float", "double")
_INKS = ("CMYK", "YCCK")


def read_still(descriptor: int, file: str) -> RgbCodes | FloatPixels:
    """Read the picture behind an open descriptor.

    A grey picture fills R, G and B. Of an OpenEXR file the display window is read: what lies
    outside the data window is 0, with coverage 0 where the file has coverage. Orientation
    tags are not followed; every pass of a shot comes from the same camera.

    Parameters
    ----------
    descriptor : int
        Open for reading; not closed here.
    file : str
        Name, for its ending and for messages.

    Returns
    -------
    RgbCodes or FloatPixels
        (height, width, 3), exactly the stored codes or floats: a file of 10 or 12 bits gives
        codes of 10 or 12 bits. `alpha_associated` is False where colour is stored without
        its coverage (PNG, some TIFF).

    Raises
    ------
    SourceError
        The file is empty, of another kind, cut off, damaged, too large, or of a pixel type
        or colour model that is not read.
    """
    with opened_picture(descriptor, file) as picture:
        spec = picture.spec()
        _refuse_unread(spec, file)
        if holds_plain_halves(spec, file):
            planes = read_planes(descriptor, (spec.height, spec.width))
            if planes is not None:
                return FloatPixels(side_by_side(planes))
        chosen = choose_channels(spec.channelnames, file)
        stored = picture.read_image(0, 0, 0, spec.nchannels, spec.format)
        message = picture.geterror()
        if stored is None or message:
            raise refuse_cut_off(descriptor, file, message)
    values, alpha = _part(_on_display_window(stored, spec), chosen)
    # Only a file that says so holds colour without coverage; the others follow OpenEXR.
    associated = not spec.get_int_attribute("oiio:UnassociatedAlpha", 0) or alpha is None
    if str(spec.format) in _FLOATING:
        return FloatPixels(
            values.astype(np.float32),
            None if alpha is None else alpha.astype(np.float32),
            associated,
        )
    width = _INTEGER[str(spec.format)]
    bits = spec.get_int_attribute("oiio:BitsPerSample", 0) or width
    bits = min(max(bits, 8), width)
    # The reader fills 16 bits by repeating the upper ones; the code is those upper bits.
    codes = values if bits == width else values >> np.uint16(width - bits)
    return RgbCodes(codes, bits, _coverage(alpha, width), associated)


def read_halves(descriptor: int, file: str) -> Halves | None:
    """Read the picture behind an open descriptor, if it holds half-float colour and no more.

    Parameters
    ----------
    descriptor : int
        Open for reading; not closed here.
    file : str
        Name, for its ending and for messages.

    Returns
    -------
    Halves or None
        Planes R, G, B, exactly as stored; None for any other picture, and for a damaged one,
        which `read_still` refuses in words.

    Raises
    ------
    SourceError
        The file is empty, of another kind, cut off in its header, or too large.
    """
    with opened_picture(descriptor, file) as picture:
        spec = picture.spec()
    if not holds_plain_halves(spec, file):
        return None
    return read_planes(descriptor, (spec.height, spec.width))


def _refuse_unread(spec: ImageSpec, file: str) -> None:
    formats = {str(spec.format), *(str(kind) for kind in spec.channelformats)}
    unread = formats - {*_INTEGER, *_FLOATING}
    if unread or spec.deep:
        raise SourceError(
            "pixels of this type are not read",
            place=Place(file=file),
            seen="deep pixels" if spec.deep else ", ".join(sorted(unread)),
            expected="8 to 16 bit unsigned integers, or half, single or double floats",
        )
    models = (spec.get_string_attribute(f"{kind}:ColorSpace") for kind in ("jpeg", "tiff"))
    model = next((model for model in models if model in _INKS), None)
    if model:
        raise SourceError(
            "this colour model is not read",
            place=Place(file=file),
            seen=model,
            expected="RGB or grey",
        )


def _on_display_window(stored: NDArray[Any], spec: ImageSpec) -> NDArray[Any]:
    left, top = spec.x - spec.full_x, spec.y - spec.full_y
    if (left, top, spec.width, spec.height) == (0, 0, spec.full_width, spec.full_height):
        return stored
    whole = np.zeros((spec.full_height, spec.full_width, stored.shape[2]), stored.dtype)
    y0, y1 = max(top, 0), min(top + spec.height, spec.full_height)
    x0, x1 = max(left, 0), min(left + spec.width, spec.full_width)
    if y0 < y1 and x0 < x1:
        whole[y0:y1, x0:x1] = stored[y0 - top : y1 - top, x0 - left : x1 - left]
    return whole


def _part(stored: NDArray[Any], chosen: Channels) -> tuple[NDArray[Any], NDArray[Any] | None]:
    red, green, blue = chosen.rgb
    if (red, green, blue) == (0, 1, 2) and stored.shape[2] == 3:
        return stored, None
    values = np.ascontiguousarray(stored[:, :, [red, green, blue]])
    return values, None if chosen.alpha is None else stored[:, :, chosen.alpha]


def _coverage(alpha: NDArray[Any] | None, width: int) -> Plane | None:
    if alpha is None:
        return None
    return alpha.astype(np.float32) / np.float32(2**width - 1)
