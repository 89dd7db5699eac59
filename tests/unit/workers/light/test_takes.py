"""A take in its place: what is spoilt moves with the light."""

import numpy as np

from glimsum_workers.engine.codes import Picture
from glimsum_workers.engine.motion import Motion
from glimsum_workers.light.takes import place_take

SIZE = (60, 80)


def light() -> np.ndarray:
    y, x = np.mgrid[0 : SIZE[0], 0 : SIZE[1]].astype(np.float32)
    return np.repeat((0.2 + 0.002 * x + 0.001 * y)[..., None], 3, axis=2)


def test_a_take_without_drift_is_left_as_it_is() -> None:
    picture, clipped = Picture(light()), np.zeros(SIZE, dtype=np.bool_)

    placed, spoilt = place_take(picture, clipped, None)

    assert placed is picture
    assert spoilt is clipped


def test_clipped_pixels_and_what_lies_beyond_the_edge_move_with_the_light() -> None:
    clipped = np.zeros(SIZE, dtype=np.bool_)
    clipped[20:30, 40:50] = True
    alpha = np.ones(SIZE, np.float32)

    for picture in (Picture(light()), Picture(light(), alpha)):
        placed, spoilt = place_take(picture, clipped, Motion(dx=5.5, dy=-3.0))

        # The reference sees at p what the take has at p + (5.5, -3).
        assert spoilt[23:33, 35:45].all()
        assert spoilt[:, -5:].all()
        assert spoilt[:3].all()
        assert spoilt[40:, :30].mean() == 0
        # Kernel taps reach four pixels; nothing further is lost.
        assert spoilt[3:, :-6].sum() <= (10 + 8) * (11 + 8)
        np.testing.assert_allclose(
            placed.rgb[40:55, 5:30, 0], light()[37:52, 5:30, 0] + 0.002 * 5.5, atol=1e-5
        )
        assert (placed.alpha is None) == (picture.alpha is None)
