"""Masters: OpenEXR frames in the working space, whole or absent, the same bytes each time."""

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.errors import OutputError
from glimsum_jobs.problems import Place
from glimsum_workers.engine.codes import Image, Plane
from glimsum_workers.engine.half import to_half
from glimsum_workers.engine.resample.window import Window
from glimsum_workers.frames.exr_bytes import (
    Attribute,
    Compression,
    lay_out,
    rational,
    real,
    reals,
    text,
    whole,
)
from glimsum_workers.frames.timecodes import Timecode
from glimsum_workers.frames.whole import nothing_to_ask, write_whole


@dataclass(frozen=True)
class MasterAttributes:
    """What a master says of itself, in OpenEXR's standard attributes.

    Nothing here may differ from one run to the next: no date of writing, host or version.

    Attributes
    ----------
    chromaticities : tuple of 8 floats
        CIE 1931 x, y of red, green, blue, white of the working space.
    color_interop_id : str
        Interop ID of the working space.
    rate : Fraction
        Frames a second.
    frame : int
        Number of the shot frame (imageCounter).
    timecode : Timecode or None
    captured : str or None
        capDate of the reference: ``YYYY:MM:DD hh:mm:ss``, local.
    exposure_seconds, f_number, iso : float or None
        Of the reference.
    own : mapping of str to str
        Attributes of this project, ``glimsum:recipeFingerprint`` and the like.
    """

    chromaticities: tuple[float, float, float, float, float, float, float, float]
    color_interop_id: str
    rate: Fraction
    frame: int
    timecode: Timecode | None = None
    captured: str | None = None
    exposure_seconds: float | None = None
    f_number: float | None = None
    iso: float | None = None
    own: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Written:
    """What was written.

    Attributes
    ----------
    name : str
        File name.
    size : int
        Bytes.
    file_digest, pixel_digest : str
        SHA-256, hex: of the file's bytes; of size, channels and stored samples alone.
    clamped : int
        Samples past the largest half, stored as the largest (65504).
    """

    name: str
    size: int
    file_digest: str
    pixel_digest: str
    clamped: int


def write_master(
    folder: Path,
    name: str,
    rgb: Image,
    alpha: Plane | None,
    attributes: MasterAttributes,
    *,
    compression: Compression = "zip",
    pixel: Literal["half", "float"] = "half",
    window: Window | None = None,
    token: str,
    before_rename: Callable[[], None] = nothing_to_ask,
) -> Written:
    """Write one frame.

    Parameters
    ----------
    folder : Path
        Must exist.
    name : str
        File name with its ending.
    rgb : Image
        Scene-linear, working space, premultiplied.
    alpha : Plane or None
        Coverage; stored as A only where it is not 1 everywhere.
    attributes : MasterAttributes
        For the header.
    compression : {'none', 'zips', 'zip'}, optional
        All lossless.
    pixel : {'half', 'float'}, optional
        Half: nearest even, values past 65504 stored as 65504 and counted.
    window : Window, optional
        The part that is stored, as the data window; the display window stays that of the picture.
    token : str
        Of the lease; part of the temporary name.
    before_rename : callable, optional
        Asked right before the file takes its name; what it raises (LeaseLost) leaves nothing.

    Returns
    -------
    Written
        Name, size, digests, clamped samples.

    Raises
    ------
    OutputError
        The picture's shape is wrong, or the disk is full or fails; nothing is left behind.
    """
    _check_shape(folder / name, rgb, alpha)
    stored = Window.whole(rgb.shape[:2]) if window is None else window
    display = rgb.shape[:2]
    rgb, alpha = rgb[stored.slices()], None if alpha is None else alpha[stored.slices()]
    samples, clamped = (rgb.astype("<f4"), 0) if pixel == "float" else to_half(rgb)
    planes = {letter: samples[:, :, index] for index, letter in enumerate("RGB")}
    if alpha is not None and not bool(np.all(alpha == 1)):
        planes["A"] = alpha.astype("<f4") if pixel == "float" else to_half(alpha)[0]
    corner = stored.left, stored.top
    content = lay_out(
        planes, header_attributes(attributes), compression, corner=corner, display=display
    )
    write_whole(folder, name, content, token, before_rename)
    return Written(
        name=name,
        size=len(content),
        file_digest=hashlib.sha256(content).hexdigest(),
        pixel_digest=digest_pixels(planes, corner),
        clamped=clamped,
    )


def digest_pixels(
    planes: Mapping[str, NDArray[np.float16] | NDArray[np.float32]],
    corner: tuple[int, int] = (0, 0),
) -> str:
    """Return the SHA-256 of place, size, channel names and samples (little-endian, rows down)."""
    digest = hashlib.sha256()
    if corner != (0, 0):
        digest.update(f"from {corner[0]},{corner[1]}\n".encode())
    for name in sorted(planes):
        plane = planes[name]
        little = np.ascontiguousarray(plane, plane.dtype.newbyteorder("<"))
        digest.update(f"{name} {plane.shape[1]}x{plane.shape[0]} {plane.dtype.name}\n".encode())
        digest.update(little.data)
    return digest.hexdigest()


def digest_file(path: Path) -> str:
    """Return the SHA-256 of a file, hex; raises OSError where it can't be read."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def header_attributes(told: MasterAttributes) -> dict[str, Attribute]:
    """Return `told` as attributes with the names and types of the OpenEXR standard."""
    attributes = {
        "chromaticities": reals("chromaticities", told.chromaticities),
        "colorInteropID": text(told.color_interop_id),
        "framesPerSecond": rational(told.rate.numerator, told.rate.denominator),
        "imageCounter": whole(told.frame),
        **{name: text(value) for name, value in told.own.items()},
    }
    if told.timecode is not None:
        packed = told.timecode.packed().to_bytes(4, "little")
        attributes["timeCode"] = Attribute("timecode", packed + bytes(4))
    if told.captured:
        attributes["capDate"] = text(told.captured)
    numbers = {"expTime": told.exposure_seconds, "aperture": told.f_number, "isoSpeed": told.iso}
    attributes |= {name: real(value) for name, value in numbers.items() if value is not None}
    return attributes


def _check_shape(path: Path, rgb: Image, alpha: Plane | None) -> None:
    fits = rgb.ndim == 3 and rgb.shape[2] == 3 and rgb.size > 0
    if fits and (alpha is None or alpha.shape == rgb.shape[:2]):
        return
    raise OutputError(
        "a picture of this shape is no master",
        place=Place(file=str(path)),
        seen=f"{rgb.shape}, coverage {None if alpha is None else alpha.shape}",
        expected="(height, width, 3), coverage (height, width)",
    )
