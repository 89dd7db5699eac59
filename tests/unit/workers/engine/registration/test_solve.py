"""The motion that most tiles agree on, against numpy's least squares."""

import numpy as np
import pytest
from numpy.typing import NDArray

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.registration.models import Model, model_basis
from glimsum_workers.engine.registration.solve import Step, solve_step
from glimsum_workers.engine.registration.spread import find_median, find_misfit
from glimsum_workers.engine.registration.tile_fit import TileFit

Numbers = NDArray[np.float64]

TRUE: dict[Model, list[float]] = {
    "shift": [0.31, -0.22],
    "similarity": [0.31, -0.22, 0.05, -0.04],
    "affine": [0.31, -0.22, 0.05, 0.01, -0.02, 0.04],
}


def make_tiles(count: int, model: Model, outliers: float) -> tuple[TileFit, Numbers, Numbers]:
    """Return tiles that ask for a motion, a misfit of 0.05 and their own noise beside it.

    Also their basis, and the matrices of what they know, (n, 2, 2); some know one direction only.
    """
    random = np.random.default_rng(count)
    basis = model_basis(model, random.uniform(-1, 1, (count, 2)))
    angle, strong = random.uniform(0, np.pi, count), 10 ** random.uniform(1, 4, count)
    turn = np.stack([np.cos(angle), np.sin(angle), -np.sin(angle), np.cos(angle)], axis=-1)
    turn = turn.reshape(-1, 2, 2)
    weak = strong * np.where(random.random(count) < 0.2, 1e-9, random.uniform(0.1, 1, count))
    known = np.einsum("nki,nk,nkj->nij", turn, np.stack([strong, weak], axis=-1), turn)
    moved = basis @ np.array(TRUE[model]) + random.normal(0, 0.05, (count, 2))
    far = random.random(count) < outliers
    moved[far] += random.uniform(-1, 1, (int(far.sum()), 2))
    noise = np.einsum("nki,nk->ni", turn, random.normal(0, 1, (count, 2))
                      * np.sqrt(np.stack([strong, weak], axis=-1)))  # fmt: skip
    score = np.einsum("nij,nj->ni", known, moved) + noise
    information = np.stack([known[:, 0, 0], known[:, 0, 1], known[:, 1, 1]])
    return TileFit(np.arange(count), np.ascontiguousarray(score.T), information), basis, known


def solve(fit: TileFit, basis: Numbers, robust: Numbers | None = None) -> Step:
    count = len(basis)
    step = solve_step(fit, basis, np.arange(count) % 48, 0.0, robust)
    assert step is not None
    return step


@pytest.mark.parametrize("model", ["shift", "similarity", "affine"])
@pytest.mark.parametrize("count", [60, 128, 129, 2500])
def test_a_step_is_the_least_squares_of_its_own_weights(count: int, model: Model) -> None:
    """Each tile's equation is whitened by numpy, by the misfit and weights that the step tells."""
    fit, basis, known = make_tiles(count, model, 0.2)
    step: Step | None = solve(fit, basis)

    for _ in range(5):  # so that the weights of few tiles have settled too
        assert step is not None
        step = solve_step(fit, basis, np.arange(count) % 48, step.misfit, step.robust)
    assert step is not None

    # Along the axes of what a tile knows its variances are 1 / value, and the misfit adds to them.
    values, axes = np.linalg.eigh(known)
    shares = step.robust[:, None] / (1 + step.misfit**2 * values)
    weight = np.einsum("nik,nk,njk->nij", axes, shares * values, axes)
    asked = np.einsum("nik,nk,njk,nj->ni", axes, shares, axes, fit.score.T)
    matrix = np.einsum("nip,nij,njq->pq", basis, weight, basis)
    right = np.einsum("nip,ni->p", basis, asked)
    np.testing.assert_allclose(step.change, np.linalg.solve(matrix, right), atol=3e-4)
    np.testing.assert_allclose(step.matrix, matrix, rtol=0.01, atol=0.003 * np.abs(matrix).max())


def test_a_step_finds_the_motion_among_outliers() -> None:
    fit, basis, _ = make_tiles(2500, "similarity", 0.2)

    step = solve(fit, basis)

    deviations = np.abs(step.change - TRUE["similarity"]) / np.sqrt(np.diag(step.covariance))
    assert deviations.max() < 3.5
    assert step.misfit == pytest.approx(0.05, rel=0.2)  # outliers that count a little
    left = step.residuals[step.robust > 0.5]
    assert np.median(np.abs(left)) < 0.1


def test_tiles_that_are_asked_again_are_of_the_same_mind() -> None:
    """Begun with what counted last, the weights have settled: the same motion comes out."""
    fit, basis, _ = make_tiles(2500, "similarity", 0.3)
    first = solve(fit, basis)

    again = solve_step(fit, basis, np.arange(2500) % 48, first.misfit, first.robust)

    assert again is not None
    np.testing.assert_allclose(again.change, first.change, atol=2e-4)
    assert again.misfit == pytest.approx(first.misfit, rel=3e-3)


def test_tiles_in_a_row_settle_no_rotation() -> None:
    fit, basis, _ = make_tiles(60, "similarity", 0.0)

    assert solve_step(fit, np.repeat(basis[:1], 60, axis=0), np.arange(60) % 48) is None
    none = TileFit(np.zeros(0, np.intp), np.zeros((2, 0)), np.zeros((3, 0)))
    assert solve_step(none, np.zeros((0, 2, 4)), np.zeros(0, np.intp)) is None


def test_tiles_that_do_not_fit_together_are_refused() -> None:
    fit, basis, _ = make_tiles(300, "affine", 0.0)
    groups = np.arange(300) % 48

    with pytest.raises(LightError, match=r"(?s)seen: 300, 300, 300, 100 tiles.*one number"):
        solve_step(fit, basis, groups, 0.0, np.ones(100))
    with pytest.raises(LightError, match="7 parameters"):
        solve_step(fit, np.concatenate([basis, basis[..., :1]], axis=2), groups)


@pytest.mark.parametrize("count", [1, 2, 7, 8, 1001])
@pytest.mark.parametrize("largest", [1.0, 1e11, np.inf])
def test_a_median_is_the_upper_one(count: int, largest: float) -> None:
    values = np.random.default_rng(count).exponential(2.0, count)
    values[0] = max(values[0], largest) if count > 2 else values[0]

    wanted = np.sort(values)[count // 2]

    assert find_median(values) == pytest.approx(wanted, rel=1e-7)


def test_of_nothing_and_of_zeros_the_median_is_zero() -> None:
    assert find_median(np.zeros(0)) == find_median(np.zeros(9)) == 0.0


def test_a_tile_that_is_far_off_does_not_hide_the_misfit_of_the_others() -> None:
    off = np.random.default_rng(3).normal(0, 0.05, 300)
    alone = find_misfit(off, np.full(300, 1e-4), np.ones(300))
    off[7] = 1e4

    assert find_misfit(off, np.full(300, 1e-4), np.ones(300)) == pytest.approx(alone, rel=0.02)


def test_one_tile_more_or_less_leaves_the_misfit_as_it_is() -> None:
    """Else weights, which let tiles go one by one, would never settle."""
    random = np.random.default_rng(8)
    own, robust = random.uniform(0.01, 0.2, 6000), np.ones(6000)
    off = random.normal(0, np.hypot(own, 0.4))
    whole = find_misfit(off, own**2, robust)

    for tile in (0, 1, 3000):
        robust[tile] = 0.0
        assert find_misfit(off, own**2, robust) == pytest.approx(whole, rel=1e-3)
