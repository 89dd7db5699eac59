"""What cameras, files and rooms do to a pair of pictures, and the pair made ready after it.

Each takes the light that fell on the sensor in the reference and in the pass (linear, noiseless,
1 / exposure at clipping) and returns what `prepare` made of them. Source: sRGB is IEC 61966-2-1;
how strong each fault is, is our own choice. Clips as cameras hold them are in `support.cards`.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import gaussian_filter

from glimsum_workers.engine.registration.bands import ACROSS_LIGHTS, Band
from glimsum_workers.engine.registration.noise import Noise
from glimsum_workers.engine.registration.prepared import Prepared, prepare
from support.clutter import Floats
from support.clutter_film import CLIP_ELECTRONS, READ_ELECTRONS, Recorded, record
from support.clutter_light import smoke
from support.coded import at_rate_factor
from support.luma import as_luma, from_luma


@dataclass(frozen=True)
class Light:
    """Light on the sensor, (h, w), how it is exposed, and the number its chances are drawn from.

    `band` is the detail that its picture is prepared for.
    """

    seen: Floats
    exposure: float
    seed: int
    is_reference: bool = False
    band: Band = ACROSS_LIGHTS

    def record(self) -> Recorded:
        """Return the picture as recorded by the camera of the quay."""
        return record(self.seen, self.seed, exposure=self.exposure)


def clean(light: Light) -> Prepared:
    """Nothing but the camera."""
    return ready(light, light.record())


def ready(light: Light, recorded: Recorded, noise: Noise | None = None) -> Prepared:
    """Prepare a recorded picture with its mask."""
    return prepare(recorded.light, clipped=recorded.clipped, noise=noise, band=light.band)


def mistaken_noise(factor: float) -> Callable[[Light], Prepared]:
    """Return a fault: gain and read noise are taken as `factor` times the truth."""

    def fault(light: Light) -> Prepared:
        one = factor / CLIP_ELECTRONS / light.exposure
        return ready(light, light.record(), Noise(gain=one, read=READ_ELECTRONS * one))

    return fault


def eight_bits(light: Light) -> Prepared:
    """Codes of sRGB, 8 bits."""
    recorded = light.record()
    linear = np.clip(recorded.light * light.exposure, 0, 1)
    codes = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    signal = np.rint(codes * 255) / 255
    back = np.where(signal <= 0.04045, signal / 12.92, ((signal + 0.055) / 1.055) ** 2.4)
    return ready(light, Recorded((back / light.exposure).astype(np.float32), recorded.clipped))


def h264(crf: int) -> Callable[[Light], Prepared]:
    """Return a fault: a single frame of H.264 at a constant rate factor, whatever it takes."""

    def fault(light: Light) -> Prepared:
        recorded = light.record()
        coded = at_rate_factor(as_luma(recorded.light * light.exposure), crf)
        light_back = from_luma(coded) / np.float32(light.exposure)
        return ready(light, Recorded(light_back, recorded.clipped))

    return fault


def smoke_drifts(light: Light) -> Prepared:
    """Smoke hangs in the room and moves between the two pictures, half as bright as the set."""
    cloud = smoke(light.seed + 5, light.seen.shape)
    cloud *= 0.5 * float(np.median(light.seen)) / float(cloud.mean())
    dimmed = light.seen * np.float32(0.8) + cloud
    return ready(light, record(dimmed, light.seed, exposure=light.exposure))


def hot_pixels(light: Light) -> Prepared:
    """One pixel in 3000 is hot, at the same places in both pictures, and is not known to be."""
    recorded = light.record()
    random = np.random.default_rng(77)  # one sensor took both
    places = random.integers(0, light.seen.size, light.seen.size // 3000)
    flat = recorded.light.ravel().copy()
    flat[places] += random.uniform(0.05, 0.9, places.size).astype(np.float32) / light.exposure
    return ready(light, Recorded(flat.reshape(recorded.light.shape), recorded.clipped))


def lamps_clip(light: Light) -> Prepared:
    """Sixty lamps burn in the pass alone, in no fixed place, clipped and with a glow about them."""
    if light.is_reference:
        return clean(light)
    random = np.random.default_rng(light.seed + 9)
    height, width = light.seen.shape
    glow = np.zeros((height, width))
    y, x = np.mgrid[:height, :width]
    for _ in range(60):
        radius = random.uniform(0.003, 0.012) * width
        row, column = random.uniform(0, height), random.uniform(0, width)
        glow += (y - row) ** 2 + (x - column) ** 2 < radius**2
    about = 3 * float(light.seen.mean()) * gaussian_filter(glow, 0.01 * width)
    lamps = 4 / light.exposure * gaussian_filter(glow, 0.7) + about
    lit = light.seen + lamps.astype(np.float32)
    return ready(light, record(lit, light.seed, exposure=light.exposure))


def reversed_contrast(light: Light) -> Prepared:
    """Light and dark change places in the pass, on a square-root scale."""
    if light.is_reference:
        return clean(light)
    root = np.sqrt(np.maximum(light.seen * light.exposure, 0))
    top = min(float(np.percentile(root, 99)), 0.9)
    turned = np.maximum(1.05 * top - root, 0) ** 2 / light.exposure
    return ready(light, record(turned.astype(np.float32), light.seed, exposure=light.exposure))


def tiny(light: Light) -> Prepared:
    """Only 51 x 37 pixels of the middle are there."""
    rows, columns = (size // 2 for size in light.seen.shape)
    cut = light.seen[rows - 18 : rows + 19, columns - 25 : columns + 26]
    return clean(replace(light, seen=cut, is_reference=False))


def flat(light: Light) -> Prepared:
    """The pass shows an even grey and its own noise."""
    if light.is_reference:
        return clean(light)
    even = np.full_like(light.seen, 0.2 / light.exposure)
    return clean(replace(light, seen=even, is_reference=False))


FAULTS: dict[str, Callable[[Light], Prepared]] = {
    "clean": clean,
    "noise / 4": mistaken_noise(0.25),
    "noise x 4": mistaken_noise(4.0),
    "8-bit sRGB": eight_bits,
    "H.264 crf 12": h264(12),
    "H.264 crf 23": h264(23),
    "smoke drifts": smoke_drifts,
    "hot pixels": hot_pixels,
    "lamps clip": lamps_clip,
    "reversed": reversed_contrast,
    "51 x 37 px": tiny,
    "flat": flat,
}
HOPELESS = ("51 x 37 px", "flat")
"""Of these nothing is asked but that nothing wrong is trusted."""
