from typing import get_args

import pytest

from glimsum_jobs.passes import Pass
from glimsum_workers.steady_test.parallax import misfit_of, tell_parallax
from glimsum_workers.steady_test.regions import Grid, Left, RegionLeft
from support.small_shots import exr_pass, small_shot


def left(dx: float, sigma: float, regions: int = 12) -> Left:
    """Regions whose upper row is displaced by dx, the lower by -dx."""
    grid = Grid((360, 640), 2, regions // 2)
    each = tuple(
        RegionLeft(
            row=n // grid.columns,
            column=n % grid.columns,
            x=grid.centre(n // grid.columns, n % grid.columns)[0],
            y=grid.centre(n // grid.columns, n % grid.columns)[1],
            dx=dx if n < grid.columns else -dx,
            dy=0.0,
            sigma_px=sigma,
            p50_px=abs(dx),
            p95_px=abs(dx),
            frames=8,
        )
        for n in range(regions)
    )
    return Left(grid, each, p50_px=abs(dx), p95_px=2 * abs(dx), sigma_px=sigma, frames=8)


def test_the_misfit_is_what_is_left_an_axis_over_its_sigma() -> None:
    assert misfit_of(left(0.2, 0.05)) == pytest.approx(4 / 2**0.5)
    assert misfit_of(Left(Grid((1, 1), 1, 1), (), 0, 0, 0, 0)) == 0


@pytest.mark.parametrize(("camera", "field"), [("locked", False), ("moving", True)])
def test_a_pass_from_elsewhere_is_told_with_figures_and_remedy(camera: str, *, field: bool) -> None:
    job = small_shot(camera=camera, passes={"lamp": exr_pass("lamp")})

    (problem,) = tell_parallax(job, {"lamp": left(0.2, 0.05)})

    assert problem.place.pass_name == "lamp"
    assert "8 frames" in problem.seen
    assert "0.20 px left on half" in problem.seen
    assert "2.8 times their sigma" in problem.seen
    assert "x 53, y 90 px: +0.20 px across" in problem.seen
    assert "Shoot the pass again" in problem.remedy
    known = "field" in get_args(Pass.model_fields["align"].annotation)
    assert ("align: field" in problem.remedy) is (field and known)


@pytest.mark.parametrize(
    ("dx", "sigma", "regions"),
    [(0.2, 0.2, 12), (0.02, 0.001, 12), (0.2, 0.05, 4)],
    ids=["unsure", "too small to matter", "too few regions"],
)
def test_what_is_not_sure_or_too_small_is_not_told(dx: float, sigma: float, regions: int) -> None:
    job = small_shot(passes={"lamp": exr_pass("lamp")})
    assert tell_parallax(job, {"lamp": left(dx, sigma, regions)}) == []
