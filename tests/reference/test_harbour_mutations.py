"""Each mistake that can be made with the light breaks a bound that the right light holds.

Sources: the truth of the harbour passes (ray-traced); for the clip, ITU-R BT.709-6 (curve,
matrix, codes 16 to 235), by which the truth is coded here.
"""

from pathlib import Path

import numpy as np
import pytest
from av.video.frame import VideoFrame
from numpy.typing import NDArray

from glimsum_workers.engine.primaries import convert
from glimsum_workers.engine.spaces import Matrix3
from glimsum_workers.light import passes
from support.harbour import shipped_harbour, true_drift
from support.harbour_jobs import harbour_job, job_frame
from support.harbour_motion import move_to_reference
from support.harbour_proofs import (
    BULB_RANGE_BOUND,
    GAIN_BOUND,
    SPLINE,
    Judged,
    broken_by_sum,
    find_shot,
    judged,
    lay_out,
    lit_frame,
)
from support.harbour_score import Score, cut_blocks, score
from support.lamp_tint import tint_by_hand
from support.run_here import read_exr, run_here
from support.small_shots import small_roots, small_shot
from unit.workers.frames.clip_making import write_clip

TINT_MIRED = -140.0
LAMPS = ["beauty", "practicals", "haze", "flash"]


def wrong_gains(gains: dict[str, float], bound: float = GAIN_BOUND) -> list[str]:
    return [name for name, gain in gains.items() if abs(gain - 1) > bound]


def test_room_light_left_in_breaks_the_block_median_of_the_sum(tmp_path: Path) -> None:
    shot = shipped_harbour()
    job = harbour_job(shot, passes={name: {"ambient": None} for name in LAMPS})

    left_in = Judged(lay_out(job, shot, tmp_path), shot)

    assert broken_by_sum(judged("shipped").score_sum(5)) == []
    assert "block_median" in broken_by_sum(left_in.score_sum(5))


@pytest.mark.parametrize("lamp", LAMPS)
def test_nine_hundredths_of_a_stop_on_one_pass_break_the_bound_of_its_gain(
    lamp: str, tmp_path: Path
) -> None:
    shot, right = shipped_harbour(), judged("shipped")
    # The exposure of the unit pass is what all others are counted from.
    stops = shot.exposure_stops(lamp) + 0.09
    job = harbour_job(shot, unit="leak", passes={lamp: {"exposure": {"stops": stops}}})

    wrong = Judged(lay_out(job, shot, tmp_path), shot).sharing(right, but={lamp})

    assert wrong_gains(right.gains(5)) == []
    assert wrong_gains(wrong.gains(5)) == [lamp]


def test_flicker_left_in_lets_the_bulbs_wander_in_the_moving_shot(tmp_path: Path) -> None:
    shot, right = find_shot("moving"), judged("moving")
    job = harbour_job(shot, passes={"practicals": {"level": "follow"}})

    left_in = Judged(lay_out(job, shot, tmp_path), shot).sharing(right, but={"practicals"})

    assert right.bulb_range() <= BULB_RANGE_BOUND
    assert left_in.bulb_range() > BULB_RANGE_BOUND * 1.5


def test_flicker_left_in_breaks_the_gain_of_the_practicals_in_the_locked_shot(
    tmp_path: Path,
) -> None:
    shot, right = find_shot("locked"), judged("locked")
    job = harbour_job(shot, passes={"practicals": {"level": "follow"}})

    left_in = Judged(lay_out(job, shot, tmp_path), shot).sharing(right, but={"practicals"})

    # The haze clips a stop over: its own gain is no measure in this shot.
    assert "practicals" not in wrong_gains(right.gains(0))
    assert "practicals" in wrong_gains(left_in.gains(0))


def score_tinted(folder: Path, **step: float) -> Score:
    """Score the beauty of the lit frame, combined alone, against its lamp in a colder colour."""
    shot, frame = shipped_harbour(), lit_frame(shipped_harbour())
    job = harbour_job(shot, recipe=[{"pass": "beauty", **step}])
    bench = lay_out(job, shot, folder)
    made = bench.combine(job_frame(job, frame), lambda: None).picture.rgb
    ours = move_to_reference(made, true_drift(shot, "beauty", frame), SPLINE)
    truth = shot.alone("beauty") @ tint_by_hand(TINT_MIRED, 3200.0).T
    return score(ours, truth.astype(np.float32))


def test_tint_before_the_matrix_breaks_the_block_median(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Beauty is coded in AP1; a tint made for Rec.709 must not meet it there."""
    tint = tint_by_hand(TINT_MIRED, 3200.0)
    right = score_tinted(tmp_path, tint_mired=TINT_MIRED, lamp_kelvin=3200.0)

    def tint_first(rgb: NDArray[np.float32], matrix: Matrix3) -> NDArray[np.float32]:
        return convert((rgb @ tint.T).astype(np.float32), matrix)

    monkeypatch.setattr(passes, "convert", tint_first)
    wrong = score_tinted(tmp_path)

    assert broken_by_sum(right) == []
    assert "block_median" in broken_by_sum(wrong)


def coded(number: int, size: tuple[int, int], pixel_format: str) -> VideoFrame:
    """The truth of the lit frame by ITU-R BT.709-6: curve of item 1.2, matrix and 10-bit codes
    of items 3.2 to 3.5, chroma on every luma sample."""
    light = np.clip(shipped_harbour().all_lights(5), 0, 1).astype(np.float64)
    prime = np.where(light < 0.018, 4.5 * light, 1.099 * np.maximum(light, 0.018) ** 0.45 - 0.099)
    luma = prime @ [0.2126, 0.7152, 0.0722]
    cb, cr = (prime[..., 2] - luma) / 1.8556, (prime[..., 0] - luma) / 1.5748
    frame = VideoFrame(*size, pixel_format)
    planes = (64 + 876 * luma, 512 + 896 * cb, 512 + 896 * cr)
    for plane, codes in zip(frame.planes, planes, strict=True):
        rows = np.zeros((plane.height, plane.line_size // 2), np.uint16)
        rows[:, : size[0]] = np.rint(codes)
        plane.update(rows.tobytes())
    return frame


def score_clip(video_range: str, folder: Path) -> Score:
    """Run a job whose only pass is a clip of the truth, and score its master."""
    (folder / "out").mkdir(exist_ok=True)
    size = (960, 540)
    options = {"qp": "0", "preset": "ultrafast"}
    write_clip(folder / "clip.mp4", 1, size=size, pixel_format="yuv444p10le", options=options,
               make=coded, tags=(1, 1))  # fmt: skip
    each = {
        "files": "plates:clip.mp4",
        "space": "ocio:itu709_rec709_scene",
        "range": video_range,
        "exposure": {"stops": 0},
    }
    job = small_shot(
        space="lin_rec709_scene",
        passes={"clip": each},
        frames={"first": 1001, "last": 1001},
    )
    run = run_here(job, small_roots(folder))
    truth = shipped_harbour().all_lights(5)
    # Codes are 1/876 apart and the curve begins with a slope of 4.5: a grey of 0.02 is exact to
    # 0.6 %, a darker one is not.
    where = cut_blocks(truth[20:-20, 20:-20]).mean(axis=(2, 3)).min(axis=-1) > 0.02
    return score(read_exr(run.master(1001)), truth, ceiling=0.95, where=where)


def test_the_wrong_range_of_a_clip_breaks_every_bound(tmp_path: Path) -> None:
    assert broken_by_sum(score_clip("limited", tmp_path)) == []
    assert broken_by_sum(score_clip("full", tmp_path)) == [
        "mean_ratio",
        "block_median",
        "block_p95",
    ]


def test_the_recipes_cue_frames_are_the_lit_ones() -> None:
    """A flash one frame late would leave the lit frames without their strongest lamp."""
    proof = judged("shipped")
    flash = proof.bench.job.steps[-1]

    gains = [flash.gain(job_frame(proof.bench.job, frame)) for frame in proof.shot.frames]

    assert gains == [float(proof.shot.is_lit("flash", frame)) for frame in proof.shot.frames]
