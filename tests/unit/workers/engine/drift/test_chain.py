"""The chain solver against dense linear algebra and the law of the Brownian bridge."""

import numpy as np
import pytest

from glimsum_workers.engine.drift.chain import fill_gaps, solve_chain


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_chain_is_solved_as_dense_least_squares_solves_it(seed: int) -> None:
    # Source: numpy.linalg (LAPACK) on the full matrix of the same least squares.
    rng = np.random.default_rng(seed)
    count = 9
    values, variances = rng.normal(size=(count, 1)), rng.uniform(0.1, 2, (count, 1))
    variances[[2, 3, 7]] = np.inf
    steps, links = rng.normal(size=(count - 1, 1)), rng.uniform(0.1, 2, (count - 1, 1))
    rows = np.concatenate([np.eye(count), np.diff(np.eye(count), axis=0)])
    weight = 1 / np.concatenate([variances, links])
    matrix = rows.T @ (weight * rows)
    right = rows.T @ (weight * np.concatenate([values, steps]))

    solved, spread = solve_chain(values, variances, steps, links)

    np.testing.assert_allclose(solved, np.linalg.solve(matrix, right), rtol=1e-10)
    np.testing.assert_allclose(spread[:, 0], np.diag(np.linalg.inv(matrix)), rtol=1e-10)


def test_without_links_every_frame_stays_as_it_was_measured() -> None:
    values = np.random.default_rng(4).normal(size=(6, 2))
    none = np.full((5, 2), np.inf)

    solved, spread = solve_chain(values, np.full((6, 2), 0.5), np.zeros((5, 2)), none)

    np.testing.assert_array_equal(solved, values)
    np.testing.assert_array_equal(spread, np.full((6, 2), 0.5))


def test_a_gap_is_a_line_whose_sigma_is_largest_in_the_middle() -> None:
    # Source: variance of a Brownian bridge, q * t * (T - t) / T, between ends known exactly;
    # e.g. Karatzas & Shreve 1991, 5.6.B (from memory). The ends differ by nothing here, so the
    # walk is as restless as `least_step` says.
    known = np.array([True, False, False, False, True])
    step = 0.1

    values, variances = fill_gaps(np.zeros((5, 1)), np.full((5, 1), 1e-12), known, step)

    times = np.array([1.0, 2.0, 3.0])
    np.testing.assert_allclose(variances[1:4, 0], step**2 * times * (4 - times) / 4, rtol=1e-6)
    np.testing.assert_array_equal(values, np.zeros((5, 1)))


def test_a_gap_across_a_jump_knows_that_it_does_not_know_where() -> None:
    known = np.array([True, True, False, False, True, True])
    values = np.array([[0.0], [0.0], [9.0], [9.0], [3.0], [3.0]])

    filled, variances = fill_gaps(values, np.full((6, 1), 1e-6), known, 0.01)

    np.testing.assert_allclose(filled[:, 0], [0, 0, 1, 2, 3, 3], atol=1e-6)
    assert (variances[2:4, 0] > 1.0).all()


def test_beyond_the_ends_the_nearest_frame_holds_with_growing_sigma() -> None:
    known = np.array([False, False, True, True, False, False, False])
    values = np.array([[8.0], [8.0], [1.0], [1.0], [8.0], [8.0], [8.0]])

    filled, variances = fill_gaps(values, np.full((7, 1), 1e-4), known, 0.1)

    np.testing.assert_allclose(filled[:, 0], 1.0, atol=1e-9)
    np.testing.assert_allclose(np.diff(variances[3:, 0]), 0.01, rtol=1e-6)
    assert variances[0, 0] > variances[1, 0] > variances[2, 0]


def test_measured_steps_carry_a_track_through_a_gap() -> None:
    known = np.array([True, False, False, True])
    values = np.array([[0.0, 0.0], [9.0, 9.0], [9.0, 9.0], [0.0, 0.0]])
    steps = np.array([[2.0], [-1.0], [-1.0]])

    filled, _ = fill_gaps(
        values,
        np.full((4, 2), 1e-6),
        known,
        0.1,
        steps=steps,
        step_variances=np.full((3, 1), 1e-6),
    )

    np.testing.assert_allclose(filled[:, 0], [0, 2, 1, 0], atol=1e-5)
    np.testing.assert_allclose(filled[:, 1], 0.0, atol=1e-9)
