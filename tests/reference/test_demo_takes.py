"""Three takes of the haze, each in its own place and of its own noise, become one clean light.

Source of the truth: the haze pass as it was recorded, which the takes are drawn from when the
demo is made (`draw_takes`, which knows nothing of alignment or combining), and the places they
were drawn in. The noise of a median of three follows from order statistics of normal noise: its
variance is 1 - sqrt(3) / pi of one's (H. A. David, H. N. Nagaraja, Order Statistics; from memory).
"""

from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import fourier_shift

from glimsum_jobs.ledger import Stage
from glimsum_jobs.recipe import Step
from glimsum_jobs.shot import ShotJob
from glimsum_services.demo.making import FULL_JOB_FILE, JOB_FILE, make_demo
from glimsum_services.job_file import read_job_file
from glimsum_services.rooted import root_job
from glimsum_services.workshop.drawing_takes import TAKES, Drawn, displace, draw_takes
from support.run_here import HereRun, open_run, work_through

FRAMES = (1001, 1002, 1003, 1004)
CLEAN, FLY = 1003, 1004
"""Frames without the fly and with it."""
FLY_BODY = np.s_[112:124, 646:658]
SKY = np.s_[20:160, 300:520]
NO_LAMPS = np.s_[10:480, 10:800]
"""Clipped glints, which both the drawing and the aligning hold back, lie outside."""

Light = Callable[[str, int], NDArray[np.float32]]


def job_of_haze(folder: Path) -> ShotJob:
    """Return a job of the takes and of the pass they were drawn from, and of little else."""
    full = read_job_file(folder / FULL_JOB_FILE).jobs[0]
    plain = read_job_file(folder / JOB_FILE).jobs[0]
    names = ("reference", "leak", *(take.name for take in TAKES))
    told = full.model_dump(by_alias=True, mode="json", exclude_unset=True)
    told |= {
        "shot": "haze",
        "frames": {"first": FRAMES[0], "last": FRAMES[-1]},
        "unit": "reference",
        "passes": {name: told["passes"][name] for name in names}
        | {"whole": plain.passes["haze"].model_dump(mode="json", exclude_unset=True)},
        "recipe": [{"pass": "haze"}, {"pass": "whole"}],
        "output": "haze",
    }
    for left_out in ("mattes", "inserts", "elements", "picture"):
        del told[left_out]
    return ShotJob.model_validate(told)


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> HereRun:
    folder = tmp_path_factory.mktemp("takes")
    make_demo(folder)
    draw_takes(folder)
    roots = {"here": folder}
    opened = open_run(root_job(job_of_haze(folder), folder, roots), roots)
    return work_through(opened, until=Stage.COMBINE)


@pytest.fixture(scope="module")
def light(run: HereRun) -> Iterator[Light]:
    bench = run.bench()

    def combine(name: str, frame: int) -> NDArray[np.float32]:
        bench.job = bench.job.model_copy(update={"recipe": (Step(pass_name=name),)})
        return bench.combine(frame, lambda: None).picture.rgb

    with bench.material:
        yield combine
        bench.close()


@pytest.mark.parametrize("take", TAKES, ids=lambda take: take.name)
def test_a_take_is_drawn_displaced_as_a_fourier_shift_does(take: Drawn) -> None:
    """Source: `scipy.ndimage.fourier_shift`, on a picture of waves up to 3 pixels short."""
    random = np.random.default_rng(5)
    spectrum = np.fft.rfft2(random.standard_normal((96, 96)))
    short = np.hypot(np.fft.fftfreq(96)[:, None], np.fft.rfftfreq(96)) > 1 / 3
    waves = np.fft.irfft2(np.where(short, 0, spectrum))
    light = (0.4 + 0.1 * waves / waves.std()).clip(0, 0.9)

    made = displace(
        np.repeat(light[..., None], 3, 2).astype(np.float32), take.right_px, take.down_px
    )

    moved = fourier_shift(np.fft.fft2(light), (take.down_px, take.right_px))
    inside = np.s_[8:-8, 8:-8]
    off = made[..., 1][inside] - np.fft.ifft2(moved).real[inside]
    assert np.sqrt(np.mean(off**2)) < 0.01 * 0.1


@pytest.mark.parametrize("take", TAKES, ids=lambda take: take.name)
def test_each_take_is_found_where_it_was_drawn(run: HereRun, take: Drawn) -> None:
    whole, placed = (run.solved.tracks[name].frames for name in ("whole", take.name))

    for frame in FRAMES:
        assert placed[frame].trusted
        right = placed[frame].dx - whole[frame].dx
        down = placed[frame].dy - whole[frame].dy
        assert (right, down) == pytest.approx((take.right_px, take.down_px), abs=0.04)


def test_edges_stay_as_sharp_as_in_the_pass_the_takes_are_drawn_from(light: Light) -> None:
    joined, whole = (light(name, CLEAN)[NO_LAMPS][..., 1] for name in ("haze", "whole"))

    for axis in (0, 1):
        edge, made = np.diff(whole, axis=axis), np.diff(joined, axis=axis)
        strong = abs(edge) > np.percentile(abs(edge), 98)
        kept = (edge * made)[strong].sum() / (edge[strong] ** 2).sum()
        # Drawn and aligned they were resampled once more than the pass itself.
        assert kept >= 0.95, axis


def test_the_median_has_the_noise_that_order_statistics_give_it(light: Light) -> None:
    whole = light("whole", CLEAN)[SKY]

    def noise(name: str) -> float:
        off = light(name, CLEAN)[SKY] - whole
        return 1.4826 * float(np.median(abs(off - np.median(off, axis=(0, 1)))))

    one = np.mean([noise(take.name) for take in TAKES])
    assert noise("haze") / one == pytest.approx(np.sqrt(1 - np.sqrt(3) / np.pi), rel=0.04)


def test_the_light_is_that_of_the_pass(light: Light) -> None:
    joined, whole = light("haze", CLEAN)[SKY], light("whole", CLEAN)[SKY]

    np.testing.assert_allclose(joined.mean(axis=(0, 1)), whole.mean(axis=(0, 1)), rtol=0.003)


def test_the_fly_that_one_take_shows_is_not_in_the_light(light: Light) -> None:
    whole, joined, seen = (light(name, FLY)[FLY_BODY] for name in ("whole", "haze", "haze_b"))

    assert seen.mean() < 0.15 * whole.mean()
    # The median is the darker of the two others there: 0.56 of their noise (3.6 %) below the light.
    np.testing.assert_allclose(joined.mean(axis=(0, 1)), whole.mean(axis=(0, 1)), rtol=0.035)
