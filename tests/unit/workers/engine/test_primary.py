"""The primary correction: nothing asked, nothing done; numbers that can't be."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.primary import Primary, correct_picture

SPACE = "lin_ap1_scene"


def grain() -> np.ndarray[tuple[int, ...], np.dtype[np.float32]]:
    return np.random.default_rng(1).normal(0.3, 0.3, (20, 30, 3)).astype(np.float32)


def test_nothing_asked_returns_the_picture_itself() -> None:
    picture = grain()

    assert correct_picture(picture, Primary(), SPACE) is picture


def test_stops_alone_are_a_gain_and_nothing_is_clamped() -> None:
    picture = grain()

    np.testing.assert_array_equal(correct_picture(picture, Primary(stops=-1), SPACE), picture / 2)


def test_the_picture_is_left_as_it_is() -> None:
    picture = grain()

    correct_picture(picture, Primary(slope=(2, 1, 1)), SPACE)

    np.testing.assert_array_equal(picture, grain())


@given(st.floats(-3, 3), st.floats(0.01, 50))
def test_grey_stays_grey_whatever_the_saturation(stops: float, level: float) -> None:
    grey = np.full((1, 1, 3), level, np.float32)

    made = correct_picture(grey, Primary(stops=stops, saturation=1.7), SPACE)

    np.testing.assert_allclose(made, min(level * 2**stops, 222.86), rtol=1e-4)


@pytest.mark.parametrize(
    "told",
    [
        {"stops": float("nan")},
        {"slope": (-0.1, 1, 1)},
        {"power": (0, 1, 1)},
        {"saturation": -1.0},
        {"offset": (float("inf"), 0, 0)},
    ],
)
def test_numbers_that_can_not_be_are_refused(told: dict[str, float]) -> None:
    with pytest.raises(LightError, match="a number that can't be") as refused:
        Primary(**told)  # type: ignore[arg-type]  # wrong on purpose

    assert next(iter(told)) in refused.value.seen
