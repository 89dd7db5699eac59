"""When levels and spectra overrule the finest level, and what doubt stays: common practice."""

import numpy as np
import pytest

from glimsum_workers.engine.registration.opinions import Opinion, Weighed, weigh_opinions

FINEST = (0.5, -0.2)


def opinion(dx: float, dy: float, deviation: float) -> Opinion:
    return Opinion(np.array([dx, dy]), np.full(2, deviation**2))


def weigh(
    next_one: tuple[float, float], spectra: tuple[float, float] | None, deviation: float = 0.02
) -> Weighed:
    finest, last = opinion(*FINEST, 0.005), opinion(*FINEST, 0.3)
    return weigh_opinions(finest, [opinion(*next_one, deviation), last], spectra, 0.0)


def test_agreement_leaves_the_finest_level_and_the_doubt_of_everyday_relief() -> None:
    told = weigh((0.51, -0.2), (0.5, -0.21))

    np.testing.assert_array_equal(told.shift, FINEST)
    assert told.doubt_px == pytest.approx(0.06, abs=0.002)


def test_both_contradicting_beyond_chance_the_spectra_are_followed_and_doubt_stays() -> None:
    told = weigh((0.9, -0.2), (0.8, -0.2))

    np.testing.assert_allclose(told.shift, (0.8, -0.2), atol=1e-9)
    assert told.doubt_px > 0.5 * 0.4


@pytest.mark.parametrize(
    ("next_one", "spectra", "deviation"),
    [
        ((0.9, -0.2), (0.3, -0.2), 0.02),
        ((0.5, 0.2), (0.8, -0.2), 0.02),
        ((0.9, -0.2), (0.8, -0.2), 0.2),
        ((0.9, -0.2), (4.5, -0.2), 0.02),
        ((0.9, -0.2), None, 0.02),
    ],
    ids=["other side", "other axis", "within chance", "spectra far off", "no spectra"],
)
def test_one_witness_alone_moves_nothing_but_widens(
    next_one: tuple[float, float], spectra: tuple[float, float] | None, deviation: float
) -> None:
    told = weigh(next_one, spectra, deviation)

    np.testing.assert_array_equal(told.shift, FINEST)
    assert told.doubt_px > 0.2


def test_what_is_believed_changes_without_a_jump() -> None:
    far = np.linspace(0.0, 0.4, 200)
    moved = [float(weigh((0.5 + each, -0.2), (0.7, -0.2)).shift[0]) for each in far]

    assert moved[0] == 0.5
    assert moved[-1] == pytest.approx(0.7)
    assert np.abs(np.diff(moved)).max() < 0.02


def test_a_far_coarse_level_widens_only_beyond_its_own_uncertainty() -> None:
    finest, near = opinion(*FINEST, 0.005), opinion(*FINEST, 0.02)
    unsure = weigh_opinions(finest, [near, opinion(1.3, -0.2, 0.3)], FINEST, 0.0)
    sure = weigh_opinions(finest, [near, opinion(1.3, -0.2, 0.05)], FINEST, 0.0)

    assert unsure.doubt_px == pytest.approx(0.06, abs=0.002)
    assert sure.doubt_px > 0.5


def test_contradictions_the_same_way_have_one_cause_and_add_up() -> None:
    alike, across = weigh((0.7, -0.2), (0.7, -0.2), 0.2), weigh((0.7, -0.2), (0.5, 0.0), 0.2)

    assert alike.doubt_px == pytest.approx(np.hypot(0.06, (0.4 + 0.5) * 0.2), abs=0.002)
    assert across.doubt_px == pytest.approx(np.hypot(0.06, np.hypot(0.4, 0.5) * 0.2), abs=0.002)


def test_a_level_far_up_that_knows_of_no_rotation_needs_more_to_be_heard() -> None:
    finest, near = opinion(*FINEST, 0.002), opinion(*FINEST, 0.003)
    spectra = (0.5, -0.14)
    little = weigh_opinions(finest, [near, opinion(0.5, -0.03, 0.03)], spectra, 0.0)
    much = weigh_opinions(finest, [near, opinion(0.5, 0.3, 0.03)], spectra, 0.0)

    np.testing.assert_array_equal(little.shift, FINEST)
    np.testing.assert_allclose(much.shift, spectra)


def test_tiles_that_differ_widen() -> None:
    finest, near = opinion(*FINEST, 0.005), opinion(*FINEST, 0.02)

    assert weigh_opinions(finest, [near], FINEST, 0.4).doubt_px == pytest.approx(0.117, abs=0.002)
