"""The light of the room: its noise, its edges, its size."""

import numpy as np
import pytest

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.ambient import (
    estimate_noise_variance,
    smooth_ambient,
    subtract_ambient,
)
from glimsum_workers.engine.codes import Image


def frames(clean: list[Image], sigma: float = 0.0006) -> list[Image]:
    random = np.random.default_rng(7)
    return [
        (picture + sigma * random.standard_normal(picture.shape)).astype(np.float32)
        for picture in clean
    ]


def test_noise_is_read_from_the_picture_edges_or_not() -> None:
    clean = np.zeros((270, 480, 3), dtype=np.float32)
    clean[:, ::40] = 0.5
    (picture,) = frames([clean])

    assert estimate_noise_variance(picture) == pytest.approx(0.0006**2, rel=0.12)


def test_even_room_light_keeps_its_level_and_loses_its_noise() -> None:
    clean = [np.full((200, 300, 3), 0.001, dtype=np.float32)] * 3

    smooth = smooth_ambient(frames(clean), 1)

    assert float(smooth.mean()) == pytest.approx(0.001, abs=2e-6)
    assert float(smooth.std()) < 0.15 * 0.0006


def test_edge_of_the_room_light_stays_where_it_is_while_the_picture_moves() -> None:
    clean = []
    for step in (-1, 0, 1):
        picture = np.full((200, 300, 3), 0.001, dtype=np.float32)
        picture[:, 150 + 10 * step :] = 0.011
        clean.append(picture)

    smooth = smooth_ambient(frames(clean), 1)

    away = np.abs(smooth - clean[1]).mean(axis=(0, 2))
    assert away[142:147].max() < 0.001
    assert away[154:159].max() < 0.001


def test_matrix_brings_the_room_into_the_primaries_of_the_pass() -> None:
    rgb = np.full((2, 2, 3), 1.0, dtype=np.float32)
    room = np.zeros((2, 2, 3), dtype=np.float32)
    room[..., 0] = 0.5
    swap = np.array([[0.0, 1, 0], [1, 0, 0], [0, 0, 1]])

    result = subtract_ambient(rgb, room, swap)

    np.testing.assert_array_equal(result, np.broadcast_to([1.0, 0.5, 1.0], (2, 2, 3)))
    assert subtract_ambient(room, rgb).min() == -1.0


def test_sizes_that_differ_are_named() -> None:
    picture = np.zeros((8, 10, 3), dtype=np.float32)

    with pytest.raises(LightError, match=r"seen: 9 x 8 pixels; expected: 10 x 8 pixels"):
        subtract_ambient(picture, picture[:, :9])
    with pytest.raises(LightError, match=r"seen: index 2, 10 x 8, 10 x 8"):
        smooth_ambient([picture, picture], 2)
