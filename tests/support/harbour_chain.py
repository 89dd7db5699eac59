"""The whole chain with the true numbers, written from the data's own model, to check the scorer.

Nothing here is the product's code: decoding by published formulas, numbers from ``truth.json``,
moving by SciPy splines.

Sources: IEC 61966-2-1 (sRGB); Academy S-2016-001 (ACEScct) and TB-2014-004 (AP1 primaries), the
matrix to Rec.709 with Bradford adaptation computed here from the published chromaticities.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from support.harbour import HarbourShot, read_pixels, true_drift
from support.harbour_motion import move_to_reference

AP1_XY = [[0.713, 0.293], [0.165, 0.830], [0.128, 0.044]]
ACES_WHITE_XY = [0.32168, 0.33767]
REC709_XY = [[0.640, 0.330], [0.300, 0.600], [0.150, 0.060]]
D65_XY = [0.3127, 0.3290]
BRADFORD = np.array(
    [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
)


@dataclass(frozen=True)
class Mistake:
    """What the chain does wrong on purpose; the default is nothing."""

    flicker: str = "true"
    """``true``; ``relative``: the median of the shot's flicker left in; ``left``: all left in."""
    ambient: bool = True
    black: bool = True
    drift: bool = True
    stops: dict[str, float] = field(default_factory=dict)
    """Stops of error added to the exposure of a pass."""


RIGHT = Mistake()


def decode(codes: NDArray[np.float32], space: str) -> NDArray[np.float32]:
    """Turn codes 0..1 into linear light with Rec.709 primaries (``srgb`` or ``acescct``)."""
    if space == "srgb":
        high = ((np.maximum(codes, 0.04045) + 0.055) / 1.055) ** 2.4
        return np.where(codes <= 0.04045, codes / 12.92, high).astype(np.float32)
    if space == "acescct":
        low = (codes - 0.0729055341958355) / 10.5402377416545
        linear = np.where(codes <= 0.155251141552511, low, np.exp2(codes * 17.52 - 9.72))
        return (linear @ ap1_to_rec709().T).astype(np.float32)
    raise ValueError(f"coding {space!r} is not one the chain can decode")


def ap1_to_rec709() -> NDArray[np.float64]:
    """Return the matrix from ACES AP1 to Rec.709 primaries, Bradford adaptation, 3 x 3."""
    to_xyz, from_xyz = _to_xyz(AP1_XY, ACES_WHITE_XY), np.linalg.inv(_to_xyz(REC709_XY, D65_XY))
    cones = (BRADFORD @ _white(D65_XY)) / (BRADFORD @ _white(ACES_WHITE_XY))
    adapt = np.linalg.inv(BRADFORD) @ np.diag(cones) @ BRADFORD
    matrix: NDArray[np.float64] = from_xyz @ adapt @ to_xyz
    return matrix


def light_of(
    shot: HarbourShot,
    name: str,
    frame: int,
    leak: NDArray[np.float32],
    wrong: Mistake = RIGHT,
    *,
    order: int = 3,
) -> NDArray[np.float32]:
    """Return the light of one pass in the reference camera, linear Rec.709, leak removed."""
    recorded = decode(read_pixels(shot.file(name, frame)), shot.space(name))
    if wrong.black:
        recorded = recorded - shot.black_offset(name)
    stops = shot.exposure_stops(name) + wrong.stops.get(name, 0.0)
    light = recorded / np.float32(2.0**stops * divided_flicker(shot, name, frame, wrong.flicker))
    if wrong.drift:
        light = move_to_reference(light, true_drift(shot, name, frame), order)
    return light - leak if wrong.ambient else light


def divided_flicker(shot: HarbourShot, name: str, frame: int, kind: str) -> float:
    """Return the gain that a chain divides by when it knows the flicker in the given way."""
    if kind == "left":
        return 1.0
    gain = shot.flicker(name, frame)
    if kind == "relative":
        gain /= float(np.median([shot.flicker(name, each) for each in shot.frames]))
    return gain


def leak_of(shot: HarbourShot, frame: int, reach: int) -> NDArray[np.float32]:
    """Return the leak at the frame: mean of the black pass over frames at most `reach` away."""
    near = [each for each in shot.frames if abs(each - frame) <= reach]
    scale = np.float32(2.0 ** shot.exposure_stops("black"))
    total: NDArray[np.float32] = np.zeros(
        (shot.facts["height"], shot.facts["width"], 3), np.float32
    )
    for each in near:
        codes = decode(read_pixels(shot.file("black", each)), shot.space("black"))
        total += (codes - shot.black_offset("black")) / scale
    leak: NDArray[np.float32] = total / np.float32(len(near))
    return leak


def combine(
    shot: HarbourShot, frame: int, leak: NDArray[np.float32], wrong: Mistake = RIGHT
) -> NDArray[np.float32]:
    """Return the sum of the lamps of the frame, to be held against `HarbourShot.all_lights`."""
    lights = [light_of(shot, name, frame, leak, wrong) for name in shot.lamps(frame)]
    return np.asarray(np.sum(lights, axis=0), dtype=np.float32)


def _white(xy: list[float]) -> NDArray[np.float64]:
    x, y = xy
    return np.array([x / y, 1.0, (1 - x - y) / y])


def _to_xyz(primaries: list[list[float]], white: list[float]) -> NDArray[np.float64]:
    columns = np.stack([_white(xy) for xy in primaries], axis=1)
    return columns * np.linalg.solve(columns, _white(white))
