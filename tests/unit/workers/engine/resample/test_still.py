"""What a resample must leave alone, and what it refuses."""

import numpy as np
import pytest

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.codes import Picture
from glimsum_workers.engine.motion import STILL, Affine, Motion
from glimsum_workers.engine.resample.resample import resample

RANDOM = np.random.default_rng(7)
NOISE = RANDOM.normal(0.1, 0.1, (41, 57, 3)).astype(np.float32)
COVER = RANDOM.random((41, 57), dtype=np.float32)
MOTIONS = [
    Motion(0.37, -2.81),
    Motion(0.0, 0.4),
    Motion(1.2, 0.7, rotation_deg=0.3, scale=1.001),
    Motion(0.4, -0.3, rotation_deg=17.0, scale=0.9),
    Affine(0.3, 0.1, ((1.4, 0.002), (-0.001, 1.6))),
    np.full((41, 57, 2), 0.37, np.float32),
]
NAMES = ["shift", "down", "similarity", "turn", "smaller", "field"]


@pytest.mark.parametrize("motion", [STILL, Motion(0.0, 0.0), Affine(0.0, 0.0)])
def test_no_motion_gives_the_same_picture_untouched(motion: Motion | Affine) -> None:
    picture = Picture(NOISE, COVER)

    moved = resample(picture, motion)

    assert moved.picture is picture
    assert moved.inside == 1.0


@pytest.mark.parametrize(("right", "down"), [(3, 0), (-2, 5), (0, -1)])
def test_whole_shifts_copy_bits(right: int, down: int) -> None:
    rows, columns = np.mgrid[8:33, 8:49]

    moved = resample(Picture(NOISE, COVER), Motion(right, down)).picture

    np.testing.assert_array_equal(moved.rgb[8:33, 8:49], NOISE[rows + down, columns + right])
    assert moved.alpha is not None
    np.testing.assert_array_equal(moved.alpha[8:33, 8:49], COVER[rows + down, columns + right])


def test_a_field_of_whole_shifts_copies_samples() -> None:
    field = np.zeros((41, 57, 2), np.float32)
    field[..., 0], field[..., 1] = 2, -3

    moved = resample(Picture(NOISE), field).picture.rgb

    np.testing.assert_allclose(moved[8:33, 8:49], NOISE[5:30, 10:51], atol=1e-7)


@pytest.mark.parametrize("motion", MOTIONS, ids=NAMES)
def test_a_constant_stays_to_the_last_bits_edges_included(motion: Motion) -> None:
    picture = Picture(np.full((41, 57, 3), 0.3, np.float32), np.ones((41, 57), np.float32))

    moved = resample(picture, motion).picture

    np.testing.assert_allclose(moved.rgb, 0.3, rtol=1e-6)
    assert moved.alpha is not None
    np.testing.assert_allclose(moved.alpha, 1.0, atol=1e-6)


@pytest.mark.parametrize("motion", MOTIONS, ids=NAMES)
def test_finite_light_of_any_sign_stays_finite_and_alpha_stays_coverage(motion: Motion) -> None:
    bright = NOISE.copy()
    bright[20:23, 30:33] = 60000.0

    moved = resample(Picture(bright, COVER.round()), motion, edges="crop")

    assert np.isfinite(moved.picture.rgb).all()
    assert moved.picture.rgb.dtype == np.float32
    assert moved.picture.alpha is not None
    assert 0 <= moved.picture.alpha.min() <= moved.picture.alpha.max() <= 1
    assert moved.picture.rgb.min() < 0


@pytest.mark.parametrize("motion", MOTIONS, ids=NAMES)
def test_the_source_is_left_as_it_is_and_two_runs_give_the_same_bits(motion: Motion) -> None:
    before = NOISE.copy()

    first, second = (resample(Picture(NOISE, COVER), motion).picture for _ in range(2))

    np.testing.assert_array_equal(NOISE, before)
    np.testing.assert_array_equal(first.rgb, second.rgb)


@pytest.mark.parametrize("size", [(1, 1), (1, 9), (5, 2), (37, 51)])
def test_any_size_will_do(size: tuple[int, int]) -> None:
    picture = Picture(np.full((*size, 3), 0.2, np.float32))

    for motion in (Motion(0.4, 0.3), Motion(0.4, 0.3, 0.2), Motion(300.0, -200.5, 40.0)):
        np.testing.assert_allclose(resample(picture, motion).picture.rgb, 0.2, rtol=1e-6)


@pytest.mark.parametrize(
    ("motion", "message"),
    [
        (Motion(float("nan"), 0.0), r"not finite.*nan"),
        (Motion(0.0, 0.0, scale=17.0), r"too far.*17 to 17 source pixels.*0\.0625 to 16"),
        (Affine(0.0, 0.0, ((1.0, 1.0), (1.0, 1.0))), r"too far.*0 to 2 source.*expected: 0\.0625"),
        (np.zeros((4, 5, 2), np.float32), r"another size.*\(4, 5, 2\).*\(41, 57, 2\)"),
        (np.full((41, 57, 2), np.inf, np.float32), r"not finite.*4674 of 4674"),
    ],
)
def test_impossible_motions_are_refused_with_their_numbers(motion: Motion, message: str) -> None:
    with pytest.raises(LightError, match=f"(?s){message}"):
        resample(Picture(NOISE), motion, size=(41, 57))
