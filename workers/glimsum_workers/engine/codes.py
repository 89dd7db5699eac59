"""What a file holds before it is light: integer codes, floats or video planes, with coverage."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Image = NDArray[np.float32]
"""A picture: float32, (height, width, 3), R G B; scene-linear unless a docstring says otherwise."""

Plane = NDArray[np.float32]
"""One value a pixel: float32, (height, width); coverage and weights in 0..1."""

Matrix = Literal["bt601", "bt709", "bt2020"]
"""The Y'CbCr matrix of a clip (ITU-R BT.601, BT.709, BT.2020 non-constant luminance)."""

Siting = Literal["left", "centre", "top_left"]
"""Where a subsampled chroma sample lies against its luma samples."""


@dataclass(frozen=True)
class RgbCodes:
    """Integer codes of a still picture.

    Attributes
    ----------
    values : uint8 or uint16 array, (height, width, 3)
        Codes 0 .. 2**bits - 1.
    bits : int
        Bits that carry the code, 8 to 16.
    alpha : Plane or None
        Coverage 0..1, or None where the file has none.
    alpha_associated : bool
        True where colour is stored times its coverage; where False, it is multiplied once it
        is light.
    """

    values: NDArray[np.uint8] | NDArray[np.uint16]
    bits: int
    alpha: Plane | None = None
    alpha_associated: bool = True


@dataclass(frozen=True)
class FloatPixels:
    """Floating-point values of a still picture, as stored.

    Attributes
    ----------
    values : float32 array, (height, width, 3)
        Values in the encoding that the job states for the pass.
    alpha : Plane or None
        Coverage 0..1, or None where the file has none.
    alpha_associated : bool
        True where colour is stored times its coverage; where False, it is multiplied once it
        is light.
    """

    values: Image
    alpha: Plane | None = None
    alpha_associated: bool = True


@dataclass(frozen=True)
class VideoPlanes:
    """Y', Cb and Cr codes of one frame of a clip, untouched by any conversion.

    Attributes
    ----------
    luma : uint16 array, (height, width)
    cb, cr : uint16 array, (chroma height, chroma width)
        As stored; subsampled planes are smaller than `luma`.
    bits : int
        8, 10 or 12.
    matrix : Matrix
    siting : Siting
    """

    luma: NDArray[np.uint16]
    cb: NDArray[np.uint16]
    cr: NDArray[np.uint16]
    bits: int
    matrix: Matrix
    siting: Siting = "left"


Codes = RgbCodes | FloatPixels | VideoPlanes


@dataclass(frozen=True)
class Picture:
    """A picture in light, with its coverage.

    Attributes
    ----------
    rgb : Image
        Scene-linear; negative noise kept, nothing clipped.
    alpha : Plane or None
        Coverage 0..1; None means 1 everywhere.
    """

    rgb: Image
    alpha: Plane | None = None
