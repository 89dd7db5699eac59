"""What a source covers of the picture that is resampled from it."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from glimsum_workers.engine.codes import Picture
from glimsum_workers.engine.motion import STILL, Motion
from glimsum_workers.engine.resample.resample import resample
from glimsum_workers.engine.resample.window import Window, covered_window

SIZE = (30, 50)
SHIFTS = st.floats(-6, 6, allow_nan=False)


def test_a_still_picture_is_covered_whole() -> None:
    assert covered_window(STILL, SIZE) == Window.whole(SIZE)


@pytest.mark.parametrize(
    ("motion", "window"),
    [
        (Motion(3.0, 0.0), Window(0, 0, 47, 30)),  # seen 3 to the right: the last 3 are not seen
        (Motion(-3.0, 0.0), Window(3, 0, 50, 30)),
        (Motion(0.0, 2.0), Window(0, 0, 50, 28)),
        (Motion(0.4, -0.4), Window(0, 0, 50, 30)),  # pixel centres still lie in the source
        (Motion(0.6, -0.6), Window(0, 1, 49, 30)),
        (Motion(0.0, 0.0, 0.0, 1.1), Window(2, 1, 48, 29)),
    ],
)
def test_what_lies_beyond_the_source_is_left_out(motion: Motion, window: Window) -> None:
    assert covered_window(motion, SIZE) == window


@settings(deadline=None)
@given(SHIFTS, SHIFTS, st.floats(-2, 2), st.floats(0.9, 1.1))
def test_everything_in_the_window_is_seen_by_the_resampler(
    dx: float, dy: float, turn: float, scale: float
) -> None:
    motion = Motion(dx, dy, turn, scale)
    ones = Picture(np.ones((*SIZE, 3), np.float32))

    shown = resample(ones, motion, edges="crop").picture
    window = covered_window(motion, SIZE)

    if shown.alpha is not None:
        assert shown.alpha[window.slices()].min(initial=1) > 0.999
    assert shown.rgb[window.slices()] == pytest.approx(1, abs=1e-5)


def test_a_field_is_covered_as_the_shift_it_holds() -> None:
    field = np.full((*SIZE, 2), (2.0, -1.0), np.float32)

    assert covered_window(field, SIZE) == covered_window(Motion(2.0, -1.0), SIZE)


def test_pictures_that_lie_side_by_side_have_nothing_in_common() -> None:
    assert covered_window(Motion(60.0, 0.0), SIZE).is_empty
    assert Window(0, 0, 5, 5).within(Window(5, 0, 9, 5)).is_empty
