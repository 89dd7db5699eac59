"""Drift through the flows: measured, solved, taken out, and written down."""

import json
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import fourier_shift, gaussian_filter

from glimsum_jobs.ledger import Stage
from glimsum_workers.check_shot import check_shot
from glimsum_workers.frames.roots import Roots
from glimsum_workers.steady_test.flow import run_steady_test
from glimsum_workers.writing.master_attributes import ALIGNMENT
from support.run_here import HereRun, read_exr, run_here
from support.small_shots import exr_pass, grain, small_roots, small_shot, write_exr_pass

HEIGHT, WIDTH = 120, 160
DRIFT = (1.4, -0.65)
"""x and y; made by scipy.ndimage.fourier_shift, which the project does not use."""


def texture(seed: int) -> NDArray[np.float64]:
    noise = np.random.default_rng(seed).normal(size=(HEIGHT, WIDTH, 3))
    soft = np.stack([gaussian_filter(noise[..., c], 1.2, mode="wrap") for c in range(3)], axis=2)
    return np.asarray(0.5 + soft / soft.std() * 0.1)


def moved(picture: NDArray[np.float64], dx: float, dy: float) -> NDArray[np.float32]:
    planes = [
        np.fft.ifft2(fourier_shift(np.fft.fft2(picture[..., c]), (dy, dx))).real for c in range(3)
    ]
    return np.stack(planes, axis=2).astype(np.float32)


@pytest.fixture(scope="module")
def shot(tmp_path_factory: pytest.TempPathFactory) -> HereRun:
    folder = tmp_path_factory.mktemp("drift")
    scene = texture(1)
    rng = np.random.default_rng(2)

    def grainy(picture: NDArray[np.floating]) -> NDArray[np.float32]:
        return (picture + rng.normal(0, 0.002, picture.shape)).astype(np.float32)

    frames = (1001, 1002, 1003)
    write_exr_pass(folder, "beauty", {n: grainy(scene) for n in frames})
    write_exr_pass(folder, "lamp", {n: grainy(0.4 * moved(scene, *DRIFT)) for n in frames})
    job = small_shot(
        passes={"beauty": exr_pass("beauty"), "lamp": exr_pass("lamp", align="similarity")},
        recipe=[{"pass": "beauty"}, {"pass": "lamp"}],
        masters=[{"pixel": "float"}],
    )
    return run_here(job, small_roots(folder))


def test_the_drift_is_found_and_its_sigma_is_honest(shot: HereRun) -> None:
    for placed in shot.solved.tracks["lamp"].frames.values():
        assert placed.trusted
        assert placed.sigma_px is not None
        error = np.hypot(placed.dx - DRIFT[0], placed.dy - DRIFT[1])
        assert error < 0.05
        assert error < 3 * placed.sigma_px


def test_the_pass_lies_on_the_reference_in_the_master(shot: HereRun) -> None:
    made = read_exr(shot.master(1002))[..., :3]
    inner = slice(12, -12)
    error = (made - 1.4 * texture(1))[inner, inner]
    assert np.sqrt(np.mean(error**2)) < 0.006
    as_filmed = (moved(texture(1), *DRIFT) * 0.4 + texture(1) - 1.4 * texture(1))[inner, inner]
    assert np.sqrt(np.mean(as_filmed**2)) > 0.03


def test_the_master_says_what_was_taken_out(shot: HereRun) -> None:
    import OpenEXR

    with OpenEXR.File(str(shot.master(1002))) as file:
        told = json.loads(file.header()[ALIGNMENT])
    placed = shot.solved.tracks["lamp"].frames[1002]
    assert told["lamp"] == placed.model_dump(mode="json")


def test_a_new_gain_registers_nothing_again(shot: HereRun, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("registered again")

    monkeypatch.setattr("glimsum_workers.measuring.track_shot.register", refuse)
    steps = tuple(step.model_copy(update={"stops": -1.0}) for step in shot.order.job.steps)
    job = shot.order.job.model_copy(update={"recipe": steps})
    roots = {"plates": shot.folder.parents[2], "out": shot.folder.parents[1]}

    again = run_here(job, roots, version=2)

    assert again.solved.tracks == shot.solved.tracks
    assert len(again.items(Stage.COMBINE)) == 3


def test_edges_a_pass_does_not_cover_are_repeated_or_cropped(shot: HereRun) -> None:
    import OpenEXR

    job = shot.order.job.model_copy(update={"edges": "crop"})
    roots = {"plates": shot.folder.parents[2], "out": shot.folder.parents[1]}

    cropped = run_here(job, roots, version=3)

    with OpenEXR.File(str(cropped.master(1002))) as file:
        window, display = file.header()["dataWindow"], file.header()["displayWindow"]
    # The lamp's picture lies 1.4 to the right and 0.65 up: what it shows ends before the right
    # edge of the reference, and begins after its top.
    assert [each.tolist() for each in window] == [[0, 1], [WIDTH - 2, HEIGHT - 1]]
    assert [each.tolist() for each in display] == [[0, 0], [WIDTH - 1, HEIGHT - 1]]
    whole, part = read_exr(shot.master(1002)), read_exr(cropped.master(1002))
    np.testing.assert_array_equal(part[..., :3], whole[1:, :-1, :3])
    assert cropped.combined[1002].fingerprint != shot.combined[1002].fingerprint
    assert cropped.combined[1002].digest != shot.combined[1002].digest


def test_the_steady_test_measures_without_combining(shot: HereRun, tmp_path: Path) -> None:
    plain = shot.order.job.passes["lamp"].model_copy(update={"align": "none"})
    passes = {**shot.order.job.passes, "lamp": plain}
    job = shot.order.job.model_copy(update={"passes": passes})
    roots = Roots({"plates": shot.folder.parents[2], "out": shot.folder.parents[1]})

    told = run_steady_test(job, check_shot(job, roots), roots, tmp_path)

    assert told.tracks["lamp"].frames[1002].dx == pytest.approx(DRIFT[0], abs=0.05)
    overlay = told.overlays["lamp"]
    assert overlay.agreement_before < 0.6
    assert overlay.agreement_after > 0.9
    before, after = (fringe(look.picture) for look in overlay.looks[:2])
    assert after < 0.5 * before


def fringe(picture: NDArray[np.uint8]) -> float:
    """Return how much of an overlay is coloured: reference and pass beside each other."""
    red, green = picture[12:-12, 12:-12, 0].astype(float), picture[12:-12, 12:-12, 1].astype(float)
    return float(np.abs(red - green).mean())


def test_a_picture_too_small_to_be_placed_is_made_as_filmed_with_a_remark(tmp_path: Path) -> None:
    for name, seed in (("beauty", 1), ("lamp", 2)):
        write_exr_pass(tmp_path, name, {1001: grain(seed)})
    job = small_shot(
        frames={"first": 1001, "last": 1001},
        passes={name: exr_pass(name, align="similarity") for name in ("beauty", "lamp")},
        recipe=[{"pass": "beauty"}, {"pass": "lamp"}],
        masters=[{"pixel": "float"}],
    )

    run = run_here(job, small_roots(tmp_path))

    np.testing.assert_allclose(read_exr(run.master(1001))[..., :3], grain(1) + grain(2), atol=1e-6)
    told = [str(each) for each in run.finished.remarks]
    assert any("the place of pass lamp is not sure on 1 of 1 frames" in each for each in told)


def test_a_knock_of_the_reference_is_found_and_does_not_show(tmp_path: Path) -> None:
    scene, rng = texture(5), np.random.default_rng(6)
    knock = (1.15, -0.7)
    still, knocked = scene.astype(np.float32), moved(scene, *knock)

    def grainy(picture: NDArray[np.float32], gain: float) -> NDArray[np.float32]:
        return (gain * picture + rng.normal(0, 0.002, picture.shape)).astype(np.float32)

    frames = range(1001, 1009)
    where = {n: knocked if n >= 1006 else still for n in frames}
    write_exr_pass(tmp_path, "beauty", {n: grainy(where[n], 1.0) for n in frames})
    write_exr_pass(tmp_path, "lamp", {n: grainy(still, 0.4) for n in frames})
    job = small_shot(
        frames={"first": 1001, "last": 1008},
        passes={name: exr_pass(name, align="similarity") for name in ("beauty", "lamp")},
        recipe=[{"pass": "beauty"}, {"pass": "lamp"}],
        masters=[{"pixel": "float"}],
    )

    run = run_here(job, small_roots(tmp_path))

    (found,) = run.solved.tracks["beauty"].knocks
    assert found.frame == 1006
    assert (found.dx, found.dy) == pytest.approx(knock, abs=0.1)
    assert run.solved.tracks["lamp"].knocks == ()
    assert run.solved.tracks["beauty"].steady_from == 1006
    assert run.solved.tracks["lamp"].steady_from == 1001
    inner = slice(12, -12)
    for n in frames:
        made = read_exr(run.master(n))[..., :3]
        error = (made - 1.4 * scene)[inner, inner]
        assert np.sqrt(np.mean(error**2)) < 0.006
    as_filmed = (knocked + 0.4 * still - 1.4 * scene)[inner, inner]
    assert np.sqrt(np.mean(as_filmed**2)) > 0.05
