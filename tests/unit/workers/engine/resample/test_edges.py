"""What is shown beyond the picture, and where crop and change of size put things."""

import numpy as np
import pytest

from glimsum_workers.engine.codes import Picture
from glimsum_workers.engine.motion import Affine, Motion
from glimsum_workers.engine.resample.resample import resample

HEIGHT, WIDTH = 60, 90
ROWS, COLUMNS = np.mgrid[0:HEIGHT, 0:WIDTH] + 0.5


def ramps() -> Picture:
    """R rises one a pixel to the right, G one a pixel down, B with both."""
    return Picture(np.stack([COLUMNS, ROWS, COLUMNS + 2 * ROWS], axis=-1).astype(np.float32))


def test_edges_repeat_far_beyond_the_picture() -> None:
    source = ramps()

    moved = resample(source, Motion(-40.5, 200.25)).picture.rgb

    np.testing.assert_allclose(moved[30, :30], source.rgb[-1, 0][None].repeat(30, 0), rtol=1e-6)


def test_crop_leaves_nothing_outside_and_counts_what_is_inside() -> None:
    moved = resample(ramps(), Motion(-10.25, 5.0), edges="crop")

    assert moved.picture.alpha is not None
    inside = np.zeros((HEIGHT, WIDTH), np.float32)
    inside[:55, 10:] = 1  # pixel 10 lies 0.25 px inside the half pixel of the edge
    np.testing.assert_array_equal(moved.picture.alpha, inside)
    assert moved.picture.rgb[inside == 0].max() == 0
    assert moved.inside == pytest.approx(55 * 80 / (60 * 90))


def test_crop_of_a_turned_picture_agrees_with_its_own_geometry() -> None:
    motion = Motion(3.0, -2.0, rotation_deg=8.0)
    places = motion.at(np.stack([COLUMNS.ravel(), ROWS.ravel()], axis=1), (HEIGHT, WIDTH))
    x, y = places.T.reshape(2, HEIGHT, WIDTH)
    inside = (x >= 0) & (x <= WIDTH) & (y >= 0) & (y <= HEIGHT)

    moved = resample(ramps(), motion, edges="crop")

    assert moved.picture.alpha is not None
    np.testing.assert_array_equal(moved.picture.alpha > 0.5, inside)
    assert moved.inside == pytest.approx(inside.mean())


def test_a_picture_wholly_inside_needs_no_alpha() -> None:
    for motion in (Motion(0.3, 0.2), Affine(0.0, 0.0, ((0.5, 0.0), (0.0, 0.5)))):
        moved = resample(ramps(), motion, size=(50, 80), edges="crop")

        assert moved.picture.alpha is None
        assert moved.inside == 1.0


def test_whole_crop_takes_the_pixels_named() -> None:
    """Crop 40 x 30 at x 20, y 10: its centre against that of the picture is the shift."""
    crop = Affine(20 + 40 / 2 - WIDTH / 2, 10 + 30 / 2 - HEIGHT / 2)

    cut = resample(ramps(), crop, size=(30, 40)).picture.rgb

    np.testing.assert_array_equal(cut, ramps().rgb[10:40, 20:60])


@pytest.mark.parametrize("factor", [0.5, 1.5, 2.0, 3.0])
def test_change_of_size_keeps_ramps_where_they_are(factor: float) -> None:
    """Pixel centre x of the small picture shows the place factor * x of the large one."""
    size = (round(HEIGHT / factor), round(WIDTH / factor))

    made = resample(ramps(), Affine(0.0, 0.0, ((factor, 0.0), (0.0, factor))), size=size)

    rows, columns = np.mgrid[0 : size[0], 0 : size[1]] + 0.5
    inner = (slice(size[0] // 3, -size[0] // 3), slice(size[1] // 4, -size[1] // 4))
    np.testing.assert_allclose(
        made.picture.rgb[..., 0][inner], (factor * columns)[inner], atol=2e-5
    )
    np.testing.assert_allclose(made.picture.rgb[..., 1][inner], (factor * rows)[inner], atol=2e-5)


def test_a_finer_grating_than_the_small_picture_can_hold_is_gone_not_folded() -> None:
    """0.4 cycles a pixel at half size is 0.8, which would fold to 0.2; the mean must stay."""
    grating = 0.5 + 0.4 * np.sin(2 * np.pi * 0.4 * COLUMNS)
    picture = Picture(np.repeat(grating[..., None], 3, axis=2).astype(np.float32))

    half = resample(picture, Affine(0.0, 0.0, ((2.0, 0.0), (0.0, 2.0))), size=(30, 45)).picture

    inner = half.rgb[8:-8, 8:-8]
    assert float(np.abs(inner - 0.5).max()) < 0.004


def test_drift_after_crop_is_one_map() -> None:
    """Cropping a moved ramp and moving with the crop folded in show the same place."""
    drift, crop = Motion(1.3, -0.4, rotation_deg=0.5, scale=1.002), Affine(-5.0, 3.0)

    once = resample(ramps(), drift.as_affine().after(crop), size=(30, 40)).picture.rgb
    twice = resample(resample(ramps(), drift).picture, crop, size=(30, 40)).picture.rgb

    np.testing.assert_allclose(once, twice, atol=2e-4)
