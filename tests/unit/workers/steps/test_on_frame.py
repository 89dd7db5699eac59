"""Layers wait for each other as long as memory allows, and none is lost or added twice."""

from collections.abc import Callable

import numpy as np
import pytest

from glimsum_workers.engine.combine import lay_ground
from glimsum_workers.engine.laying import Halves
from glimsum_workers.engine.resample.quick import Layer
from glimsum_workers.steps.on_frame import OnFrame

SIZE = 270, 480


def floats(level: float) -> Layer:
    return Layer(np.full((*SIZE, 3), level, np.float32))


def halves(level: float) -> Layer:
    planes: Halves = (
        np.full(SIZE, level, np.float16),
        np.full(SIZE, level, np.float16),
        np.full(SIZE, level, np.float16),
    )
    return Layer(planes)


@pytest.mark.parametrize(("make", "together"), [(floats, 2), (halves, 4)])
def test_two_pictures_of_floats_wait_at_most(make: Callable[[float], Layer], together: int) -> None:
    ground, made, most = lay_ground(*SIZE), OnFrame(1001), 0

    for index in range(7):
        made.let_wait(make(0.25 * 2**index), ground)
        most = max(most, len(made.waiting))
        assert float(ground.rgb[0, 0, 0]) == 0.25 * (2 ** (index + 1 - len(made.waiting)) - 1)

    made.add_waiting(ground)
    assert most == together - 1
    assert not made.waiting
    np.testing.assert_array_equal(ground.rgb, 0.25 * (2**7 - 1))
    assert ground.alpha is not None
    np.testing.assert_array_equal(ground.alpha, 1)
