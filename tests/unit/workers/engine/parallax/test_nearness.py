"""Nearness read over squares and enlarged, and motions laid over it."""

import numpy as np
import pytest

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.motion import Motion
from glimsum_workers.engine.nearness import Nearness
from glimsum_workers.engine.parallax.find_nearness import find_nearness
from glimsum_workers.engine.parallax.laying import lay_field
from glimsum_workers.engine.parallax.reading import read_at
from glimsum_workers.engine.registration.prepared import prepare

SIZE = (40, 60)


def ramp(reason: str = "") -> Nearness:
    """Return a nearness that rises by 0.1 a pixel to the right."""
    x = (np.arange(30) * 2 + 1 - 30) * 0.1
    return Nearness(np.tile(x, (20, 1)).astype(np.float16), 2, SIZE, (1.0, 0.0), reason)


def test_the_mean_over_a_square_is_that_of_its_samples() -> None:
    places = np.array([[0.0, 0.0], [10.0, 4.0], [-12.0, -8.0]])
    assert ramp().over(places, 8.0) == pytest.approx(0.1 * places[:, 0], abs=2e-3)


def test_a_square_beyond_the_picture_reads_its_edge() -> None:
    assert ramp().over(np.array([[500.0, 0.0]]), 8.0) == pytest.approx([2.9], abs=2e-3)


def test_a_ramp_is_a_ramp_at_full_size() -> None:
    inner = ramp().full()[:, 2:-2]
    wanted = (np.arange(60) + 0.5 - 30) * 0.1
    assert inner == pytest.approx(np.tile(wanted[2:-2], (40, 1)), abs=2e-3)


def test_a_field_is_the_motion_with_parallax_on_top() -> None:
    motion = Motion(1.5, -0.5, 0.3, 1.002, (0.2, -0.1))
    y, x = np.mgrid[:40, :60] + 0.5
    points = np.stack([x.ravel(), y.ravel()], axis=1)
    plain = (motion.at(points, SIZE) - points).reshape(40, 60, 2)
    wanted = plain + ramp().full()[..., None] * [0.2, -0.1]
    assert lay_field(motion, ramp()) == pytest.approx(wanted, abs=1e-5)


def test_no_field_is_laid_over_what_tells_nothing() -> None:
    with pytest.raises(LightError, match="nothing tells near from far") as caught:
        lay_field(Motion(0.0, 0.0, parallax=(0.1, 0.0)), ramp("the camera only turned"))
    assert "the camera only turned" in str(caught.value)


def test_pictures_without_detail_say_why_they_tell_nothing() -> None:
    flat = prepare(np.full((200, 300), 0.5, np.float32))
    assert find_nearness(flat, None, None).reason == "there is no frame beside it"
    assert "don't fit" in find_nearness(flat, flat, None).reason


def test_squares_of_places_are_read_exactly_between_samples() -> None:
    # A cubic through four samples reproduces squares (Keys 1981, doi 10.1109/TASSP.1981.1163711).
    y, x = np.mgrid[:20, :30].astype(np.float32)
    plane = (0.02 * x * x - 0.03 * y * y + 0.01 * x * y).astype(np.float32)
    across, down = x[4:-4, 4:-4] + np.float32(0.37), y[4:-4, 4:-4] - np.float32(0.81)
    wanted = 0.02 * across**2 - 0.03 * down**2 + 0.01 * across * down
    assert read_at(plane, across, down) == pytest.approx(wanted, abs=2e-4)
