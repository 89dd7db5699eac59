"""What a file says of itself, without its pixels being read."""

from dataclasses import dataclass
from typing import Literal

from OpenImageIO import ImageInput, ImageSpec

from glimsum_jobs.paths import RootPath
from glimsum_workers.frames.channels import choose_channels
from glimsum_workers.frames.clip_facts import ClipFacts
from glimsum_workers.frames.clips import Clip
from glimsum_workers.frames.limits import kind_by_name
from glimsum_workers.frames.pictures import opened_picture
from glimsum_workers.frames.roots import Roots

_FLOATING = ("half", "float", "double")


@dataclass(frozen=True)
class Exposure:
    """How a frame was exposed, as its file says; None where it doesn't.

    Attributes
    ----------
    seconds, f_number, iso : float or None
        Of EXIF, or expTime, aperture and isoSpeed of OpenEXR.
    """

    seconds: float | None = None
    f_number: float | None = None
    iso: float | None = None


@dataclass(frozen=True)
class Facts:
    """What a still or a clip says of itself.

    Attributes
    ----------
    kind : {'exr', 'dpx', 'tiff', 'png', 'jpeg', 'clip'}
    width, height : int
        Pixels; of an OpenEXR file its display window.
    data_window : tuple of int or None
        x, y, width, height against the display window's corner, where the two differ.
    channels : tuple of str
        Names in file order.
    bits : int
        Of a channel.
    floating : bool
        True for half, single and double floats.
    compression : str
        As the file calls it; for a clip its codec.
    captured : str or None
        Local time of capture, ``YYYY:MM:DD hh:mm:ss`` (EXIF, OpenEXR capDate).
    exposure : Exposure
    colour : str or None
        What the file says of its colours; a proposal, never taken without being asked.
    camera : str or None
        Make and model.
    timecode : str or None
        As written.
    clip : ClipFacts or None
        Of a clip, all the rest.
    remarks : tuple of str
        What is left out when it is read, as sentences.
    """

    kind: str
    width: int
    height: int
    data_window: tuple[int, int, int, int] | None
    channels: tuple[str, ...]
    bits: int
    floating: bool
    compression: str
    captured: str | None = None
    exposure: Exposure = Exposure()
    colour: str | None = None
    camera: str | None = None
    timecode: str | None = None
    clip: ClipFacts | None = None
    remarks: tuple[str, ...] = ()


def read_facts(roots: Roots, path: RootPath) -> Facts:
    """Return what one file says of itself.

    Parameters
    ----------
    roots : Roots
        Where the roots of this machine are.
    path : RootPath
        One file, no pattern. Of a clip every packet is read, to count its frames.

    Returns
    -------
    Facts
        The facts.

    Raises
    ------
    PathError
        The path leads out of its root.
    SourceError
        The file is missing, empty, of another kind, or its header can't be read.
    """
    if kind_by_name(str(path)).name == "clip":
        with Clip(roots.open_file(path), str(path)) as clip:
            return clip_as_facts(clip.facts)
    with roots.opened(path) as descriptor:
        return still_facts(descriptor, str(path))


def clip_as_facts(clip: ClipFacts) -> Facts:
    """Return the facts of a clip in the common form."""
    told = [clip.matrix, clip.transfer, clip.primaries, clip.range]
    return Facts(
        kind="clip",
        width=clip.width,
        height=clip.height,
        data_window=None,
        channels=("Y'", "Cb", "Cr"),
        bits=clip.bits,
        floating=False,
        compression=clip.codec,
        colour=", ".join(part for part in told if part) or None,
        timecode=clip.timecode,
        clip=clip,
    )


def still_facts(descriptor: int, file: str) -> Facts:
    """Return the facts of an open still; raises as `stills.read_still`, but reads no pixels."""
    with opened_picture(descriptor, file) as picture:
        spec = picture.spec()
        chosen = choose_channels(spec.channelnames, file)
        floating = str(spec.format) in _FLOATING
        bits = 8 * spec.format.size()
        if not floating:
            bits = min(bits, max(8, spec.get_int_attribute("oiio:BitsPerSample", 0) or bits))
        return Facts(
            kind=kind_by_name(file).name,
            width=spec.full_width,
            height=spec.full_height,
            data_window=_data_window(spec),
            channels=tuple(spec.channelnames),
            bits=bits,
            floating=floating,
            compression=spec.get_string_attribute("compression") or "none",
            captured=_captured(spec, kind_by_name(file).name),
            exposure=_exposure(spec),
            colour=_text(spec, "colorInteropID") or _text(spec, "oiio:ColorSpace"),
            camera=" ".join(filter(None, (_text(spec, "Make"), _text(spec, "Model")))) or None,
            timecode=_text(spec, "smpte:TimeCode"),
            remarks=(*chosen.remarks, *_remarks(picture, spec)),
        )


def _data_window(spec: ImageSpec) -> tuple[int, int, int, int] | None:
    window = (spec.x - spec.full_x, spec.y - spec.full_y, spec.width, spec.height)
    return None if window == (0, 0, spec.full_width, spec.full_height) else window


def _exposure(spec: ImageSpec) -> Exposure:
    return Exposure(
        seconds=_first(spec, "ExposureTime", "Exif:ExposureTime"),
        f_number=_first(spec, "FNumber", "Exif:FNumber"),
        iso=_first(spec, "isoSpeed", "Exif:PhotographicSensitivity", "Exif:ISOSpeedRatings"),
    )


def _first(spec: ImageSpec, *names: str) -> float | None:
    values = (spec.getattribute(name) for name in names)
    return next((float(v) for v in values if isinstance(v, int | float) and v > 0), None)


def _captured(spec: ImageSpec, kind: Literal["exr"] | str) -> str | None:
    # The plain DateTime of TIFF, DPX and JPEG is when the file was written, not the frame.
    return _text(spec, "Exif:DateTimeOriginal") or (
        _text(spec, "DateTime") if kind == "exr" else None
    )


def _text(spec: ImageSpec, name: str) -> str | None:
    return spec.get_string_attribute(name) or None


def _remarks(picture: ImageInput, spec: ImageSpec) -> list[str]:
    remarks = []
    window = _data_window(spec)
    if window is not None:
        remarks.append(f"data window {window} differs from the display window; outside is 0")
    if spec.get_int_attribute("Orientation", 1) != 1:
        remarks.append("an orientation tag is not followed")
    if spec.get_int_attribute("oiio:subimages", 1) > 1 or picture.seek_subimage(1, 0):
        remarks.append("only the first of several pictures in the file is read")
    if kind_is_lossy(spec):
        remarks.append(f"compression {spec.get_string_attribute('compression')} loses detail")
    return remarks


def kind_is_lossy(spec: ImageSpec) -> bool:
    """Tell whether an OpenEXR file's compression loses detail (OpenEXR documentation)."""
    name = spec.get_string_attribute("compression").partition(":")[0]
    return name in ("pxr24", "b44", "b44a", "dwaa", "dwab")
