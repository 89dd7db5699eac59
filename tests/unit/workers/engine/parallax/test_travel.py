"""The way of a camera from displacements that are known exactly.

Truth: the motion field of a pinhole camera, Longuet-Higgins & Prazdny 1980,
doi 10.1098/rspb.1980.0057, written out here.
"""

import numpy as np
import pytest

from glimsum_workers.engine.parallax.travel import find_travel, travel_vectors, turn_columns


def scene(seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Return places over the half diagonal, and how near each is."""
    random = np.random.default_rng(seed)
    places = random.uniform([-0.87, -0.49], [0.87, 0.49], (600, 2))
    return places, random.uniform(0.3, 1.0, 600)


def displaced(places: np.ndarray, near: np.ndarray, way: tuple[float, float, float]) -> np.ndarray:
    """Return displacements by a way (x, y, z) and a turn, the focal length twice the half
    diagonal."""
    focal, (wx, wy, wz) = 2.0, (0.4, -0.8, 0.3)
    x, y = places[:, 0] / focal, places[:, 1] / focal
    turned = np.stack(
        [wx * x * y - wy * (1 + x * x) + wz * y, wx * (1 + y * y) - wy * x * y - wz * x], axis=1
    )
    moved = near[:, None] * (np.array(way[:2]) - way[2] * places / focal * focal)
    return focal * turned + moved


@pytest.mark.parametrize(
    "way", [(3.0, 0.2, 0.0), (-1.0, 2.0, 0.0), (2.0, -0.3, 1.5), (0.5, 1.0, -2.0)]
)
def test_the_way_is_found_up_to_its_sign(way: tuple[float, float, float]) -> None:
    places, near = scene(1)
    found = find_travel(places, displaced(places, near, way), np.ones(600))

    ours = np.append(
        travel_vectors(np.zeros(2), found.bearing, found.forward), np.sin(found.forward)
    )
    true = np.array(way) / np.linalg.norm(way)
    assert abs(float(ours @ true)) >= 0.9995
    assert found.scatter_px < 0.01


def test_every_tenth_place_may_be_quite_wrong() -> None:
    places, near = scene(2)
    moved = displaced(places, near, (2.0, 0.5, 0.4))
    moved[::10] += np.random.default_rng(3).normal(0, 5, (60, 2))

    found = find_travel(places, moved, np.ones(600))

    assert np.tan(found.bearing) == pytest.approx(0.25, abs=0.02)


def test_what_turning_does_is_known_whatever_the_distance() -> None:
    places, near = scene(4)
    moved = displaced(places, near, (2.0, 0.5, 0.4))
    found = find_travel(places, moved, np.ones(600))

    left = moved - turn_columns(places) @ found.turn
    vectors = travel_vectors(places, found.bearing, found.forward)
    along = np.sum(left * vectors, axis=1) / np.sum(vectors**2, axis=1)
    assert abs(np.corrcoef(along, near)[0, 1]) > 0.9999
