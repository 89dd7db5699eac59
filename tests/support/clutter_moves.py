"""Moves of the camera along the quay, and passes filmed on them that start early or run wrong.

The camera of a move is where it is by construction; times count frames of the reference from 0 and
may lie between them.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from support.clutter import Floats, look
from support.clutter_film import MARGIN, move_camera, record, through_lens
from support.clutter_light import AT, EYE, light_view
from support.clutter_pairs import EXPOSURES
from support.small_shots import write_exr_pass

Move = Literal["slide", "arc", "push", "pan"]
FRAMES = 9
"""Frames of the shot."""
SIZE = (216, 384)
SEED = 11

_SLIDE_METRES, _PUSH_METRES = 0.0037, 0.006
_ARC_DEG, _PAN_DEG = 0.25, 0.2
"""A frame; the push is as slow as that of the study the figures come from."""


@dataclass(frozen=True)
class Rig:
    """How the camera of a pass stands against that of the reference: constant, and trembling."""

    dx: float = 1.3
    dy: float = -0.8
    rotation_deg: float = 0.012
    scale: float = 1.00015
    jitter_px: float = 0.05


def camera(move: Move, time: float) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Return where the camera stands and what it looks at."""
    eye, at = np.array(EYE), np.array(AT)
    along = time - (FRAMES - 1) / 2
    if move == "slide":
        step = np.array([_SLIDE_METRES * along, 0.0, 0.0])
        eye, at = eye + step, at + step
    elif move == "push":
        eye = eye + (at - eye) / np.linalg.norm(at - eye) * _PUSH_METRES * along
    elif move == "arc":
        eye = at + _turn(_ARC_DEG * along) @ (eye - at)
    else:
        at = eye + _turn(_PAN_DEG * along) @ (at - eye)
    return tuple(eye.tolist()), tuple(at.tolist())


def shoot(move: Move, light: str, time: float, rig: Rig, seed: int) -> Floats:
    """Return the light of one frame as recorded: (height, width, 3), grey."""
    random = np.random.default_rng([seed, round(1000 * (time + 100))])
    dx, dy = np.array([rig.dx, rig.dy]) + random.normal(0, 1, 2) * rig.jitter_px
    fine = _seen(move, round(time, 4))[{"dark": "practicals"}.get(light, light)]
    moved = move_camera(fine.astype(np.float32), float(dx), float(dy), rig.rotation_deg, rig.scale)
    shot = record(moved, int(random.integers(1 << 30)), exposure=EXPOSURES[light])
    return np.repeat(shot.light[..., None], 3, axis=2)


def film(
    folder: Path,
    shown: tuple[str, Move, str],
    times: Mapping[int, float],
    rig: Rig = Rig(),
) -> None:
    """Write a pass (name, move, light): by file number, the time each file was taken at."""
    name, move, light = shown
    seed = sum(map(ord, name))
    shots = {number: shoot(move, light, time, rig, seed) for number, time in times.items()}
    write_exr_pass(folder, name, shots)


@lru_cache(maxsize=96)
def _seen(move: Move, time: float) -> dict[str, NDArray[np.float16]]:
    """Return the lights of a frame through the lens; halves round far below the noise."""
    size = 2 * (SIZE[0] + 2 * MARGIN), 2 * (SIZE[1] + 2 * MARGIN)
    eye, at = camera(move, time)
    view = look((eye[0], eye[1], eye[2]), (at[0], at[1], at[2]), 1.35 * size[1], size)
    lamps = ("full", "side", "practicals") if move == "slide" else ("full", "side")
    lit = light_view(SEED, view, lamps=lamps).light
    return {name: through_lens(light).astype(np.float16) for name, light in lit.items()}


def _turn(angle_deg: float) -> NDArray[np.float64]:
    cos, sin = np.cos(np.deg2rad(angle_deg)), np.sin(np.deg2rad(angle_deg))
    return np.array([[cos, 0, sin], [0, 1, 0], [-sin, 0, cos]])
