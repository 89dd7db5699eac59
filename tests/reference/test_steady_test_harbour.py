"""The steady test on the harbour: parallax is told of the pass that has it, and only of that.

Source: ``parallax_rms_px`` in the harbour's ``truth.json``: what the best shift, rotation and scale
leave of the exact flow between the modelled cameras. Three frames of two passes.
"""

from pathlib import Path

import numpy as np
import pytest

from glimsum_workers.check_shot import check_shot
from glimsum_workers.frames.roots import Roots
from glimsum_workers.steady_test.flow import SteadyTest, run_steady_test
from support.harbour import HarbourShot, shipped_harbour
from support.harbour_jobs import harbour_job, harbour_roots

FRAMES = range(3)


@pytest.fixture(scope="module")
def harbour() -> HarbourShot:
    return shipped_harbour()


@pytest.fixture(scope="module")
def told(harbour: HarbourShot, tmp_path_factory: pytest.TempPathFactory) -> SteadyTest:
    folder = tmp_path_factory.mktemp("steady")
    job = harbour_job(
        harbour,
        frames={"first": 1001, "last": 1003},
        passes={"haze": None, "flash": None},
        recipe=[{"pass": "beauty"}, {"pass": "practicals"}],
    )
    roots = Roots(harbour_roots(harbour, Path(folder)))
    return run_steady_test(job, check_shot(job, roots), roots, folder / "keep")


def true_parallax(harbour: HarbourShot, name: str) -> float:
    each = [harbour.frame_facts(name, frame)["drift"]["parallax_rms_px"] for frame in FRAMES]
    return float(np.sqrt(np.mean(np.square(each))))


def test_the_beauty_whose_camera_stood_elsewhere_is_told(
    told: SteadyTest, harbour: HarbourShot
) -> None:
    assert true_parallax(harbour, "beauty") > 0.1
    (problem,) = (each for each in told.problems if each.place.pass_name == "beauty")
    assert "position drift" in problem.what
    assert "3 frames" in problem.seen


def test_the_practicals_from_the_same_place_are_not(told: SteadyTest, harbour: HarbourShot) -> None:
    assert true_parallax(harbour, "practicals") == 0
    assert [each for each in told.problems if each.place.pass_name == "practicals"] == []


def test_as_much_is_left_by_region_as_the_truth_says(
    told: SteadyTest, harbour: HarbourShot
) -> None:
    # Regions average near and far, and light other than the reference's adds: a factor of two.
    left = np.array([each.length for each in told.left["beauty"].regions])
    ratio = np.sqrt(np.mean(left**2)) / true_parallax(harbour, "beauty")
    assert 0.5 < ratio < 1.5


def test_the_beauty_agrees_better_once_it_is_brought_back(told: SteadyTest) -> None:
    overlay = told.overlays["beauty"]
    assert overlay.agreement_after > overlay.agreement_before + 0.1
