"""Parallax on a ray-cast quay: a camera moved by half a millimetre, and a pass half a frame ahead.

Truth: the cameras of the quay themselves and the distance of every ray (`support.clutter`), which
hold nothing of the product. Its seed was not used to choose any number.
"""

from functools import cache

import numpy as np
import pytest

from glimsum_workers.engine.motion import Motion
from glimsum_workers.engine.nearness import Nearness
from glimsum_workers.engine.parallax.find_nearness import find_nearness
from glimsum_workers.engine.parallax.laying import lay_field
from glimsum_workers.engine.registration.models import Model
from glimsum_workers.engine.registration.prepared import Prepared, prepare
from glimsum_workers.engine.registration.register import register
from support.clutter import View, look
from support.clutter_film import MARGIN, move_camera, record, through_lens
from support.clutter_light import AT, EYE, Quay, light_quay
from support.clutter_pairs import EXPOSURES
from support.harbour_flow import Floats, rms_length

SEED, SIZE = 41, (270, 480)
FINE = (2 * (SIZE[0] + 2 * MARGIN), 2 * (SIZE[1] + 2 * MARGIN))
STEP = 0.004
"""How far the camera slides to the right from frame to frame, metres."""
Way = tuple[float, float, float]
STILL: Way = (0.0, 0.0, 0.0)


@cache
def quay(moved: Way) -> Quay:
    return light_quay(SEED, FINE, moved=moved)


def shoot(moved: Way, light: str, grain: int) -> Prepared:
    fine = through_lens(quay(moved).light[light])
    shot = record(move_camera(fine, 0.0, 0.0), grain, exposure=EXPOSURES[light])
    return prepare(shot.light, clipped=shot.clipped)


def view(moved: Way) -> View:
    x, y, z = moved
    eye, towards = (EYE[0] + x, EYE[1] + y, EYE[2] + z), (AT[0] + x, AT[1] + y, AT[2] + z)
    return look(eye, towards, 1.35 * FINE[1], FINE)


def truth(moved: Way) -> Floats:
    """Return where the moved camera shows each pixel of the still one, less the pixel."""
    here, there = view(STILL), view(moved)
    start, along = here.rays(slice(0, FINE[0]), slice(0, FINE[1]))
    places = (start + along * quay(STILL).depth[..., None]).reshape(-1, 3)
    flow = (there.project(places) - here.project(places)).reshape(*FINE, 2) / 2
    inner = flow[2 * MARGIN : -2 * MARGIN, 2 * MARGIN : -2 * MARGIN]
    return np.asarray(inner[::2, ::2], dtype=np.float64)


@cache
def nearness() -> Nearness:
    after, before = (shoot((side * STEP, 0.0, 0.0), "full", 3 + side) for side in (1, -1))
    return find_nearness(shoot(STILL, "full", 1), after, before)


def left(moved: Way, light: str, model: Model) -> float:
    found = register(
        shoot(STILL, "full", 1), shoot(moved, light, 9), model=model, nearness=nearness()
    )
    assert isinstance(found.motion, Motion)
    return rms_length(lay_field(found.motion, nearness()) - truth(moved))


@pytest.mark.parametrize("moved", [(0.0005, 0.0, 0.0), (0.0, 0.0005, 0.0)])
def test_half_a_millimetre_aside_or_up_is_taken_out(moved: Way) -> None:
    plain, ours = left(moved, "full", "similarity"), left(moved, "full", "field")
    assert ours <= 0.7 * plain, f"similarity {plain:.3f}, field {ours:.3f} px rms"


@pytest.mark.parametrize("moved", [(STEP / 2, 0.0, 0.0), (0.0, STEP / 2, 0.0)])
def test_two_millimetres_are_taken_out_across_the_light(moved: Way) -> None:
    # Half a millimetre is 0.05 px at this size, no more than what light from behind feigns.
    plain, ours = left(moved, "flash", "similarity"), left(moved, "flash", "field")
    assert ours <= 0.6 * plain, f"similarity {plain:.3f}, field {ours:.3f} px rms"


def test_a_pass_half_a_frame_ahead_is_brought_back() -> None:
    moved = (STEP / 2, 0.0, 0.0)
    plain, ours = left(moved, "full", "similarity"), left(moved, "full", "field")
    assert ours <= 0.5 * plain, f"similarity {plain:.3f}, field {ours:.3f} px rms"


def test_a_camera_that_stood_in_the_same_place_is_left_alone() -> None:
    assert left(STILL, "full", "field") <= 0.01


@pytest.mark.parametrize(("light", "most"), [("full", 0.02), ("flash", 0.05)])
@pytest.mark.parametrize("part", [0.25, 0.5])
def test_the_part_of_a_frame_is_known(light: str, most: float, part: float) -> None:
    """What a pass of align: field says it is ahead by, in frames of the reference's own move."""
    late = shoot((part * STEP, 0.0, 0.0), light, 9)
    found = register(shoot(STILL, "full", 1), late, model="field", nearness=nearness()).motion

    assert isinstance(found, Motion)
    travel, near = np.array(nearness().travel_px), np.array(found.parallax)
    assert float(near @ travel / (travel @ travel)) == pytest.approx(part, abs=most)
