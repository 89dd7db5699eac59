"""Registration of the harbour passes against the true drift of their cameras.

Truth: ``truth.json`` of the harbour data, made by ray tracing; its drift is the least-squares fit
of shift, rotation and scale over all pixels. Beauty and flash hold parallax that no such motion
removes (0.09 to 0.18 pixel rms), so what is asked is what a lighting pass needs: 0.1 pixel rms an
axis for lamps, 0.15 for the matte, 0.3 for bulbs.
"""

from fractions import Fraction

import av
import numpy as np
import pytest
from numpy.typing import NDArray

from glimsum_workers.engine.motion import Registration
from glimsum_workers.engine.registration.bands import ACROSS_LIGHTS
from glimsum_workers.engine.registration.prepared import Prepared, prepare
from glimsum_workers.engine.registration.register import register
from support.harbour import (
    HarbourShot,
    full_shot,
    read_pixels,
    require_full_harbour,
    shipped_harbour,
    true_drift,
)
from support.harbour_chain import decode

MOST_RMS = {"beauty": 0.1, "haze": 0.1, "flash": 0.1, "practicals": 0.3, "matte": 0.15}


def prepare_pass(shot: HarbourShot, name: str, frame: int) -> Prepared:
    """Decode a frame with the harbour's own numbers and prepare it."""
    file = shot.file(name, frame)
    if shot.space(name) == "rec709":
        light = read_clip(str(file), frame)
        clipped = np.asarray(light > 2)
    else:
        codes = read_pixels(file)[..., :3]
        clipped = np.asarray((codes >= 254 / 255).any(axis=2))
        light = decode(codes, shot.space(name)) - shot.black_offset(name)
    light = light / np.float32(2 ** shot.exposure_stops(name))
    return prepare(light, clipped=clipped, band=ACROSS_LIGHTS)


def read_clip(file: str, number: int) -> NDArray[np.float32]:
    """Return the luma of a picture of a clip as light (ITU-R BT.709, limited range)."""
    with av.open(file) as clip:
        for at, picture in enumerate(clip.decode(video=0)):
            if at == number:
                luma = picture.to_ndarray(format="gray16le").astype(np.float64) / 256
                break
        else:
            raise EOFError(f"{file}: no picture {number}")
    signal = (luma - 16) / 219
    high = ((np.maximum(signal, 0.081) + 0.099) / 1.099) ** float(Fraction(20, 9))
    return np.where(signal < 0.081, signal / 4.5, high).astype(np.float32)


def measure(shot: HarbourShot, name: str) -> tuple[list[Registration], NDArray[np.float64]]:
    """Return what is found on the lit frames of a pass, and the errors dx, dy: (frames, 2)."""
    found, errors = [], []
    for frame in (each for each in shot.frames if shot.is_lit(name, each)):
        pair = prepare_pass(shot, "reference", frame), prepare_pass(shot, name, frame)
        found.append(register(*pair))
        truth, motion = true_drift(shot, name, frame), found[-1].motion
        errors.append([motion.dx - truth.dx, motion.dy - truth.dy])
    return found, np.asarray(errors)


def judge(name: str, found: list[Registration], errors: NDArray[np.float64]) -> None:
    trusted = np.array([each.trusted for each in found])
    sigmas = np.array([each.sigma_px for each in found])
    assert np.count_nonzero(~trusted) <= 0.3 * len(found)
    assert np.sqrt(np.mean(errors[trusted] ** 2)) <= MOST_RMS[name]
    assert np.mean(np.abs(errors[trusted]) <= 3 * sigmas[trusted, None]) >= 0.97


@pytest.mark.parametrize("name", MOST_RMS)
def test_passes_of_the_shipped_frames_are_found(name: str) -> None:
    judge(name, *measure(shipped_harbour(), name))


@pytest.mark.parametrize("name", MOST_RMS)
@pytest.mark.parametrize("which", ["locked", "moving"])
def test_passes_of_the_full_set_are_found(which: str, name: str) -> None:
    judge(name, *measure(full_shot(require_full_harbour(), which), name))


def test_a_dark_flash_frame_is_the_room_only_and_says_how_little_it_knows() -> None:
    shot = shipped_harbour()
    frame = next(each for each in shot.frames if not shot.is_lit("flash", each))

    found = register(prepare_pass(shot, "reference", frame), prepare_pass(shot, "flash", frame))

    # Recorded without drift: what little leak light shows must not claim a motion.
    assert not found.trusted or np.hypot(found.motion.dx, found.motion.dy) <= 3 * found.sigma_px
