"""The takes of the demo's second shot, drawn from its haze pass: own place, own noise, a fly."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.paths import parse_root_path
from glimsum_services.workshop.folders import make_folder
from glimsum_workers.engine.codes import Codes, Image
from glimsum_workers.engine.encodings import decode
from glimsum_workers.frames.previews import encode_picture
from glimsum_workers.frames.roots import Roots
from glimsum_workers.frames.sources import open_source
from glimsum_workers.frames.whole import nothing_to_ask, write_whole

FROM = "demo:passes/haze/haze.%04d.jpg"
FIRST = 102
"""File of the shot's first frame."""
FRAMES = 8
SPACE = "srgb_rec709_scene"
BLACK = np.array([0.0028, 0.00252, 0.003136], np.float32)
"""What the camera records in the dark, as in the job."""
PHOTONS, READ = 9e-5, 1.2e-3
"""Variance of a take's own noise is PHOTONS x light + READ^2: three times the pass's photon noise
and twice its read noise, as of a third of the time at three times the sensitivity."""
HOT_PX = ((561, 230), (348, 482), (368, 156))
"""The camera's hot pixels, x and y: they stay where they are, whatever the picture does."""
CLIPPED = 0.98
TAPS = 12
THREADS = 2
FLY_LETS_THROUGH = 0.08


@dataclass(frozen=True)
class Drawn:
    """One take.

    Attributes
    ----------
    name : str
        Of its folder.
    right_px, down_px : float
        Where it shows what the pass shows, pixels further right and down.
    fly : tuple of int and two float, or None
        Frame of the shot, counted from 0, and place (x, y) of a fly before the lens.
    """

    name: str
    right_px: float
    down_px: float
    fly: tuple[int, float, float] | None = None


TAKES = (
    Drawn("haze_a", 0.27, -0.18),
    Drawn("haze_b", -0.44, 0.36, fly=(3, 652.0, 118.0)),
    Drawn("haze_c", 0.12, 0.49),
)


def draw_takes(folder: Path) -> None:
    """Draw what is not there yet of the takes, into ``takes`` in the demo's folder.

    Parameters
    ----------
    folder : Path
        Holds the passes of the demo.

    Raises
    ------
    SourceError
        A picture of the haze pass can't be read.
    OutputError
        A file can't be written whole.

    Notes
    -----
    PNG, 8-bit sRGB codes. The noise is the same each time.
    """
    wanted = [
        (take, shown)
        for shown in range(FRAMES)
        for take in TAKES
        if not (folder / _file(take, shown)).exists()
    ]
    if not wanted:
        return
    for take in TAKES:
        target = (folder / _file(take, 0)).parent
        make_folder(target, "the demo's takes can't be drawn", "Name another folder with --folder.")
    with open_source(Roots({"demo": folder}), parse_root_path(FROM)) as source:
        codes = [source.read(FIRST + shown) for shown in range(FRAMES)]

    def draw(wanted: tuple[Drawn, int]) -> None:
        take, shown = wanted
        target = folder / _file(take, shown)
        picture = _drawn(take, shown, codes[shown])
        content = encode_picture(picture, "PNG", str(target), quick=True)
        write_whole(target.parent, target.name, content, "drawn", nothing_to_ask)

    with ThreadPoolExecutor(THREADS) as pool:
        list(pool.map(draw, wanted))


def _file(take: Drawn, shown: int) -> str:
    return f"takes/{take.name}/{take.name}.{shown + 1:04d}.png"


def _drawn(take: Drawn, shown: int, codes: Codes) -> NDArray[np.uint8]:
    """Return the sRGB codes of one frame of a take."""
    light = decode(codes, SPACE).picture.rgb - BLACK
    hot = [(x, y, light[y, x].copy()) for x, y in HOT_PX]
    for x, y in HOT_PX:
        light[y, x] = np.median(light[y - 1 : y + 2, x - 1 : x + 2].reshape(9, 3), axis=0)
    light = displace(light, take.right_px, take.down_px)
    if take.fly is not None and take.fly[0] == shown:
        light *= _fly(light.shape[:2], *take.fly[1:])
    random = np.random.default_rng((TAKES.index(take), shown))
    deviation = np.sqrt(PHOTONS * np.maximum(light, 0) + READ**2)
    light += deviation * random.standard_normal(light.shape, dtype=np.float32)
    for x, y, more in hot:
        light[y, x] = more
    return _srgb_codes(light + BLACK)


def displace(light: Image, right_px: float, down_px: float) -> Image:
    """Return a picture that shows everything further right and down.

    Parameters
    ----------
    light : Image
        Scene-linear, 1 where it is clipped.
    right_px, down_px : float
        Pixels, each between -0.5 and 0.5.

    Returns
    -------
    Image
        By a sinc over 12 samples in Lanczos's window; between the two nearest samples where a
        clipped one is in reach, around which a sinc rings. The edge is repeated.
    """
    sharp = _slid(_slid(light, _lanczos(right_px), 1), _lanczos(down_px), 0)
    clipped = (light.max(axis=2, keepdims=True) > CLIPPED).astype(np.float32)
    reach = np.ones(TAPS + 1, np.float32)
    near = _slid(_slid(clipped, reach, 1), reach, 0) > 0
    soft = _slid(_slid(light, _straight(right_px), 1), _straight(down_px), 0)
    return np.where(near, soft, sharp)


def _lanczos(shift: float) -> NDArray[np.float32]:
    away = np.arange(-TAPS // 2, TAPS // 2 + 1) + shift
    taps = np.where(abs(away) < TAPS / 2, np.sinc(away) * np.sinc(away / (TAPS / 2)), 0)
    return np.asarray(taps / taps.sum(), np.float32)


def _straight(shift: float) -> NDArray[np.float32]:
    away = np.arange(-TAPS // 2, TAPS // 2 + 1) + shift
    return np.asarray(np.maximum(0, 1 - abs(away)), np.float32)


def _slid(light: Image, taps: NDArray[np.float32], axis: int) -> Image:
    """Return the sum of a picture's neighbours along an axis, each times its tap."""
    half = len(taps) // 2
    around = [(0, 0)] * light.ndim
    around[axis] = (half, half)
    wide = np.pad(light, around, mode="edge")
    total = np.zeros_like(light)
    for place, tap in enumerate(taps):
        if tap:
            cut = (slice(None),) * axis + (slice(place, place + light.shape[axis]),)
            total += tap * wide[cut]
    return total


def _fly(size: tuple[int, int], x: float, y: float) -> Image:
    """Return how much light passes a fly, out of focus before the lens: (height, width, 1)."""
    rows, columns = np.ogrid[: size[0], : size[1]]
    covered = np.zeros(size, np.float32)
    # Body and wings: place, half axes (px), turn (degrees), how dense.
    for right, down, long, short, turn, dense in (
        (0, 0, 30, 13, 20, 1.0),
        (-4, -20, 24, 10, 70, 0.7),
        (12, -16, 24, 10, 120, 0.7),
    ):
        cos, sin = np.cos(np.radians(turn)), np.sin(np.radians(turn))
        across, along = columns + 0.5 - x - right, rows + 0.5 - y - down
        out = np.hypot((across * cos + along * sin) / long, (along * cos - across * sin) / short)
        covered = np.maximum(covered, dense * np.clip((1.2 - out) / 0.5, 0, 1))
    return np.asarray(1 - (1 - FLY_LETS_THROUGH) * covered[..., None], np.float32)


def _srgb_codes(light: Image) -> NDArray[np.uint8]:
    """Return 8-bit codes of IEC 61966-2-1, clipped as a camera clips."""
    held = np.clip(light, 0, 1)
    encoded = np.where(held <= 0.0031308, 12.92 * held, 1.055 * held ** (1 / 2.4) - 0.055)
    return np.asarray(np.rint(encoded * 255), np.uint8)
