"""Prepared pictures of the harbour shots, decoded by published formulas, for drift and sync.

Sources: the curves of `harbour_chain`; ITU-R BT.709-6 item 1.2 (camera curve of the clip, whose
luma alone is used) and 3.5 (8 bits: 16 is black, 235 white). The clip is decoded by PyAV.
"""

from functools import cache
from pathlib import Path

import av
import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.drift.track import Track
from glimsum_workers.engine.motion import Registration
from glimsum_workers.engine.registration.bands import GENERAL, Band, band_for
from glimsum_workers.engine.registration.prepared import Prepared, prepare
from glimsum_workers.engine.registration.register import register
from support.harbour import (
    HarbourShot,
    full_harbour,
    full_shot,
    read_pixels,
    require_full_harbour,
    shipped_harbour,
    true_drift,
)
from support.harbour_chain import decode

Light = NDArray[np.float32]

REFERENCE = "reference"
SIZE = (540, 960)


def find_shot(which: str) -> HarbourShot:
    """Return ``shipped``, or ``moving`` or ``locked`` of the full set (absent: skips)."""
    return shipped_harbour() if which == "shipped" else full_shot(require_full_harbour(), which)


def moving_set() -> str:
    """Return ``moving`` where the full set is present, else its first frames, ``shipped``."""
    return "shipped" if full_harbour() is None else "moving"


def pass_light(shot: HarbourShot, name: str, frame: int) -> tuple[Light, NDArray[np.bool_]]:
    """Return the recorded light of a pass, leak and all, and where its file is clipped.

    `frame` may be a lead-in frame, which has a negative number.
    """
    file = shot.file(name, frame)
    if file.suffix == ".mp4":
        luma = _clip_luma(file)[shot.file_number(name, frame)]
        signal = (luma.astype(np.float32) - 16) / 219
        high = ((np.maximum(signal, 0.081) + 0.099) / 1.099) ** (1 / 0.45)
        return np.where(signal < 0.081, signal / 4.5, high).astype(np.float32), luma >= 234
    codes = read_pixels(file)[..., :3]
    clipped = np.asarray((codes >= 0.992).any(axis=-1), dtype=np.bool_)
    return decode(codes, shot.space(name)), clipped


@cache
def _clip_luma(file: Path) -> list[NDArray[np.uint8]]:
    planes = []
    with av.open(str(file)) as clip:
        for each in clip.decode(video=0):
            plane = np.asarray(each.planes[0], dtype=np.uint8).reshape(each.height, -1)
            planes.append(plane[:, : each.width].copy())
    return planes


@cache
def prepared(which: str, name: str, frame: int, band: Band = GENERAL) -> Prepared:
    """Return a frame, prepared once for all tests."""
    light, clipped = pass_light(find_shot(which), name, frame)
    return prepare(light, clipped=clipped, band=band)


@cache
def pair(which: str, one: tuple[str, int], two: tuple[str, int]) -> Registration:
    """Register one (pass, frame) with another, once for all tests."""
    same = one[0] == two[0]
    band = band_for(same_light=same)
    return register(prepared(which, *one, band), prepared(which, *two, band), same_light=same)


def crossing(which: str, name: str) -> dict[int, Registration]:
    """Register each frame of the reference with the same frame of a pass."""
    frames = find_shot(which).frames
    return {frame: pair(which, (REFERENCE, frame), (name, frame)) for frame in frames}


def from_frame(which: str, one: tuple[str, int], name: str) -> dict[int, Registration]:
    """Register one (pass, frame) with every frame of a pass."""
    return {frame: pair(which, one, (name, frame)) for frame in find_shot(which).frames}


def steps_of(which: str, name: str) -> dict[int, Registration]:
    """Register each frame of a pass with the next one."""
    frames = find_shot(which).frames[:-1]
    return {frame: pair(which, (name, frame), (name, frame + 1)) for frame in frames}


def errors_of(which: str, name: str, track: Track) -> NDArray[np.float64]:
    """Return by how much a track misses the true drift at the picture's centre: (n, 2), pixels."""
    shot = find_shot(which)
    rows = []
    for frame, motion in zip(track.frames, track.motions, strict=True):
        true = true_drift(shot, name, frame)
        rows.append([motion.dx - true.dx, motion.dy - true.dy])
    return np.array(rows)


def rms(errors: NDArray[np.float64]) -> float:
    """Return the root mean square of the lengths of error vectors."""
    return float(np.sqrt(np.square(errors).sum(axis=1).mean()))
