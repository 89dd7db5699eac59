"""A lamp that died is told from a fade, a flash and flicker."""

import numpy as np
import pytest

from glimsum_workers.engine.level.outage import find_outage


@pytest.mark.parametrize("fall", [[0.02], [0.7, 0.02]])
def test_a_lamp_that_dies_is_found_with_how_dark_it_is(fall: list[float]) -> None:
    light = np.array([1.0, 1.03, 0.98, 1.0, *fall, 0.02, 0.02])

    told = find_outage(light)

    assert told is not None
    assert (told.first, told.last, told.comes_back) == (3 + len(fall), len(light) - 1, False)
    assert told.left == pytest.approx(0.02, rel=0.05)


def test_a_lamp_that_is_mended_burns_again() -> None:
    told = find_outage(np.array([1.0, 1.0, 1.0, 0.0, 0.0, 1.0, 1.0]))

    assert told is not None
    assert (told.first, told.last, told.comes_back) == (3, 4, True)


@pytest.mark.parametrize(
    "light",
    [
        [1.0, 1.05, 0.95, 1.0, 1.02],
        [1.0, 1.0, 1.0, 0.8, 0.6, 0.4, 0.2, 0.0, 0.0],
        [0.0, 0.0, 0.0, 1.0, 1.0, 0.0, 0.0],
        [0.0, 0.0, 0.0, 0.0],
        [1.0, 0.0, 0.0, 0.0, 0.0],
    ],
    ids=["flicker", "fade", "flash", "dark", "one frame"],
)
def test_what_is_meant_is_no_outage(light: list[float]) -> None:
    assert find_outage(np.array(light)) is None
