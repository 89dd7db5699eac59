"""Prepared pictures of the harbour shots, decoded by published formulas, for drift and sync.

Sources: the curves of `harbour_chain`; ITU-R BT.709-6 item 1.2 (camera curve of the clip, whose
luma alone is used) and table 4 (8 bits: 16 is black, 235 white). The clip is decoded by PyAV.
"""

from functools import cache
from pathlib import Path

import av
import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.motion import Registration
from glimsum_workers.engine.registration.prepared import Prepared, prepare
from glimsum_workers.engine.registration.register import register
from support.harbour import HarbourShot, full_shot, read_pixels, require_full_harbour
from support.harbour_chain import decode

Light = NDArray[np.float32]

REFERENCE = "reference"
DRIFTING = ("beauty", "practicals", "flash", "haze", "matte")


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
    with av.open(str(file)) as clip:
        planes = [np.asarray(each.planes[0]).reshape(each.height, -1)[:, : each.width]
                  for each in clip.decode(video=0)]  # fmt: skip
    return [np.asarray(plane, dtype=np.uint8).copy() for plane in planes]


@cache
def prepared(shot_name: str, name: str, frame: int) -> Prepared:
    """Return a frame of the full set, prepared once for all tests (skips without the set)."""
    shot = full_shot(require_full_harbour(), shot_name)
    light, clipped = pass_light(shot, name, frame)
    return prepare(light, clipped=clipped)


@cache
def pair(
    shot_name: str, one: tuple[str, int], two: tuple[str, int], model: str = "similarity"
) -> Registration:
    """Register a (pass, frame) as the reference with another one, once for all tests."""
    return register(
        prepared(shot_name, *one),
        prepared(shot_name, *two),
        model="shift" if model == "shift" else "similarity",
        same_light=one[0] == two[0],
    )
