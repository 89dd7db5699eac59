"""From the camera's files to light and to masters on disk, against ray-traced truth.

Source of the expected light: the truth of the harbour passes, computed from the scene with each
lamp alone and with all lamps on. The bounds of the sum are those its description gives for the
true numbers (mean ratio 0.993 to 1.001, block median up to 0.45 %, 95th percentile up to 2.4 %),
a little widened for the flicker and the room light, which are measured here and not known.
"""

import numpy as np
import pytest

from glimsum_jobs.ledger import RunState
from support.harbour_jobs import job_frame
from support.harbour_proofs import broken_by_sum, find_shot, judged, lit_frame, whole_run
from support.run_here import read_exr

SHOTS = ["shipped", "moving", "locked"]
# Mean ratio, block median, 95th percentile of each lamp alone; measured a fifth and more below.
# Beauty is 10-bit log. The practicals are 8-bit codes a stop and a half down, whose blocks are
# mostly grain; the haze adds little anywhere, and in the locked shot a stop over it clips.
ALONE = {
    "beauty": (0.003, 0.0030, 0.022),
    "practicals": (0.010, 0.0200, 0.180),
    "haze": (0.004, 0.0095, 0.040),
    "flash": (0.003, 0.0075, 0.032),
}


@pytest.mark.parametrize("lamp", ALONE)
@pytest.mark.parametrize("which", SHOTS)
def test_each_pass_alone_is_its_lamp_alone(which: str, lamp: str) -> None:
    proof = judged(which)
    off, median, p95 = ALONE[lamp]

    told = proof.score_alone(lamp, lit_frame(proof.shot))

    print(f"{which:8} {lamp:11} {told}")  # noqa: T201  # the row for people, shown with -s
    assert told.mean_ratio == pytest.approx(1.0, abs=off)
    assert told.block_median <= median
    assert told.block_p95 <= p95


@pytest.mark.parametrize("which", SHOTS)
def test_sum_of_the_passes_is_the_photograph_with_all_lamps_on(which: str) -> None:
    proof = judged(which)
    # The shipped frames are frames of the moving shot: two of them stand for all.
    frames = [0, 5] if which == "shipped" else list(proof.shot.frames)

    told = {frame: proof.score_sum(frame) for frame in frames}

    for frame, each in told.items():
        print(f"{which:8} frame {frame}  {each}")  # noqa: T201  # the same
    broken = {frame: broken_by_sum(each) for frame, each in told.items()}
    assert broken == {frame: [] for frame in frames}


@pytest.mark.parametrize("which", SHOTS)
def test_masters_hold_what_was_combined_to_half_rounding_and_drift_is_not_touched(
    which: str,
) -> None:
    run, shot = whole_run(which), find_shot(which)
    bench = run.bench()

    if which != "shipped":
        assert run.state is RunState.DONE
        assert sorted(run.combined) == list(run.order.job.frames.numbers)
    for frame in (run.order.job.frames.first, job_frame(run.order.job, lit_frame(shot))):
        stored = read_exr(run.master(frame))
        made = bench.combine(frame, lambda: None).picture
        names = shot.lamps(frame - run.order.job.frames.first)
        still = np.sum(
            [bench.light.in_working_space(n, frame, bench.solved).picture.rgb for n in names],
            axis=0,
            dtype=np.float32,
        )
        assert stored.shape == (540, 960, 3)
        # IEEE 754 binary16: 11 bits of precision, rounded to nearest, and steps of 2^-24 below
        # the smallest normal number.
        np.testing.assert_allclose(stored, made.rgb, rtol=2.0**-11, atol=2.0**-25)
        np.testing.assert_allclose(made.rgb, still, rtol=1e-6, atol=1e-6)
        assert made.alpha is not None
        assert (made.alpha == 1).all()
