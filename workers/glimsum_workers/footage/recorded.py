"""A pass as recorded, and what brings it to the exposure of the unit pass."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.passes import Crop, Level, Pass
from glimsum_jobs.shot import ShotJob
from glimsum_workers.engine.codes import Codes, Image, Picture, Plane, RgbCodes, VideoPlanes
from glimsum_workers.engine.dark import subtract_dark
from glimsum_workers.engine.encodings import decode, decode_mean
from glimsum_workers.engine.exposure import exposure_gains, multiply_channels
from glimsum_workers.engine.hot_pixels import HotMask, clip_mask, mend_hot_pixels
from glimsum_workers.engine.metrics import as_plane


@dataclass(frozen=True)
class Recorded:
    """A decoded pass.

    Attributes
    ----------
    picture : Picture
        Linear, in the camera's own primaries, cropped.
    clipped : bool array, (height, width)
        Pixels that were clipped in the file.
    replaced : int
        Samples that were not finite and are now 0.
    """

    picture: Picture
    clipped: NDArray[np.bool_]
    replaced: int


def decode_pass(each: Pass, codes: Codes) -> Recorded:
    """Return a pass as recorded: linear, in the camera's own primaries, cropped."""
    decoded = decode(codes, each.space, video_range=each.range)
    rgb, alpha, clipped = decoded.picture.rgb, decoded.picture.alpha, _clipped(codes)
    if alpha is not None and not getattr(codes, "alpha_associated", True):
        rgb = rgb * alpha[..., np.newaxis]
    if each.crop is not None:
        kept = _window(each.crop)
        rgb, clipped = np.ascontiguousarray(rgb[kept]), clipped[kept]
        alpha = None if alpha is None else np.ascontiguousarray(alpha[kept])
    return Recorded(Picture(rgb, alpha), clipped, decoded.replaced)


def decode_plane(each: Pass, codes: Codes) -> tuple[Plane, NDArray[np.bool_]]:
    """Return the mean of a recorded pass's channels, and its clipped pixels, by `decode_pass`."""
    if not isinstance(codes, RgbCodes) or codes.alpha is not None:
        recorded = decode_pass(each, codes)
        return as_plane(recorded.picture.rgb), recorded.clipped
    plane, clipped = decode_mean(
        codes, each.space, video_range=each.range, top=_ceiling(codes.bits)
    )
    if each.crop is not None:
        kept = _window(each.crop)
        plane, clipped = np.ascontiguousarray(plane[kept]), clipped[kept]
    return plane, clipped


def _window(crop: Crop) -> tuple[slice, slice]:
    """Return the rows and columns that are kept."""
    return slice(crop.y, crop.y + crop.height), slice(crop.x, crop.x + crop.width)


def without_dark(
    each: Pass, rgb: Image, dark: Image | None, hot: HotMask | None
) -> tuple[Image, int]:
    """Return a recorded picture without its dark, and how many hot samples were mended.

    `dark` is the average of the pass's dark, where it names one; `rgb` is used up.
    """
    if isinstance(each.dark, Level):
        rgb = subtract_dark(rgb, each.dark.level, out=rgb)
    elif dark is not None:
        rgb = subtract_dark(rgb, dark, out=rgb)
    return rgb, 0 if hot is None else mend_hot_pixels(rgb, hot)


def _ceiling(bits: int) -> int:
    """Return the code from which a still is clipped; compressed ones ring by one or two codes."""
    return (1 << bits) - (2 if bits == 8 else 1)


def exposed(job: ShotJob, name: str, rgb: Image) -> Image:
    """Return a picture without dark, white balanced and at the exposure of the unit pass."""
    return multiply_channels(rgb, exposure_of(job, name), out=rgb)


def exposure_of(job: ShotJob, name: str) -> NDArray[np.float32]:
    """Return what white balance and exposure multiply R, G and B by."""
    each = job.passes[name]
    gains = each.white_balance.gains if each.white_balance else (1.0, 1.0, 1.0)
    return exposure_gains(stops_of(job, name), gains)


def stops_of(job: ShotJob, name: str) -> float:
    """Return how much more light than the unit pass a pass received, in stops.

    Silhouettes and backings that state no exposure were exposed alike: 0.
    """
    exposure, unit = job.passes[name].exposure, job.passes[job.unit_pass].exposure
    if exposure is None or unit is None:
        return 0.0
    return exposure.stops_against(unit).stops


def _clipped(codes: Codes) -> NDArray[np.bool_]:
    """Return which pixels stand at the top of what the file can hold."""
    if isinstance(codes, RgbCodes):
        return clip_mask(codes.values, _ceiling(codes.bits))
    if isinstance(codes, VideoPlanes):
        clipped: NDArray[np.bool_] = np.greater_equal(codes.luma, 2**codes.bits - 2)
        return clipped
    return np.zeros(codes.values.shape[:2], dtype=np.bool_)
