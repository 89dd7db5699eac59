import numpy as np
import pytest

from glimsum_workers.frames.arrows import Arrow, arrow_factor, draw_arrows

SIGN = (255, 214, 90)


@pytest.mark.parametrize(
    ("lengths", "longest", "factor"),
    [([0.1, 0.4], 56, 100), ([0.02], 56, 2000), ([80.0], 56, 1), ([], 56, 50_000)],
)
def test_arrows_are_as_long_as_their_room_allows(
    lengths: list[float], longest: float, factor: int
) -> None:
    assert factor == arrow_factor(lengths, longest)


def test_an_arrow_points_where_the_displacement_does_as_many_times_longer() -> None:
    ground = np.zeros((200, 300, 3), np.uint8)
    arrow = Arrow(0.5, 0.5, 0.3, -0.2, sigma=0.01, sure=True)

    picture = draw_arrows(ground, [arrow], 200, above="", below=())

    # Drawn from the middle (8 + 150, 28 + 100), 60 to the right and 40 up.
    yellow = np.argwhere((picture == SIGN).all(axis=2))
    assert (yellow[:, 1].min(), yellow[:, 1].max()) == pytest.approx((158, 218), abs=2)
    assert (yellow[:, 0].min(), yellow[:, 0].max()) == pytest.approx((88, 128), abs=2)


def test_what_is_not_sure_is_a_ring() -> None:
    ground = np.zeros((200, 300, 3), np.uint8)
    arrow = Arrow(0.5, 0.5, 0.3, -0.2, sigma=0.3, sure=False)

    picture = draw_arrows(ground, [arrow], 200, above="", below=())

    yellow = np.argwhere((picture == SIGN).all(axis=2))
    assert np.hypot(*(yellow - (128, 158)).T).max() < 6
    assert tuple(picture[128, 158]) != SIGN
