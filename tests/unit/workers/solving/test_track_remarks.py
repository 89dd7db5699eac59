import numpy as np
import pytest

from glimsum_jobs.tracks import Knock, PassTrack, Placed
from glimsum_workers.engine.drift.remarks import tell_doubt, tell_steps
from glimsum_workers.engine.drift.track import Step
from glimsum_workers.solving.track_remarks import TOLD_HERE, tell_tracks
from support.small_shots import exr_pass, small_shot

JOB = small_shot(
    passes={"beauty": exr_pass("beauty"), "lamp": exr_pass("lamp", align="similarity")}
)


def placed(source: str = "measured", sigma: float | None = 0.05) -> Placed:
    return Placed(
        dx=0.1,
        dy=0.2,
        rotation_deg=0,
        scale=1,
        sigma_px=sigma,
        trusted=sigma is not None and sigma <= 0.3,
        source=source,
    )


def track(
    *frames: Placed, knocks: tuple[Knock, ...] = (), remarks: tuple[str, ...] = ()
) -> PassTrack:
    return PassTrack(
        frames={1001 + n: each for n, each in enumerate(frames)}, knocks=knocks, remarks=remarks
    )


def test_a_pass_that_was_measured_surely_needs_no_remark() -> None:
    lamp = track(placed(), placed("same light"), placed())
    assert tell_tracks(JOB, {"lamp": lamp}) == []


def test_a_knock_names_its_frame_and_its_jump() -> None:
    lamp = track(*[placed()] * 3, knocks=(Knock(frame=1002, dx=0.64, dy=-0.48),))
    (problem,) = tell_tracks(JOB, {"lamp": lamp})
    assert problem.what == "the camera of pass lamp was knocked before frame 1002"
    assert (problem.place.pass_name, problem.place.frame) == ("lamp", 1002)
    assert problem.seen == "a jump of +0.64 px across and -0.48 px down"
    assert "look at the tripod" in problem.remedy


@pytest.mark.parametrize(
    ("sigmas", "seen"),
    [
        ((0.05, 0.45, 0.62), "known to 0.62 px at worst, frames 1002 to 1003"),
        ((0.05, 0.45, None), "not known, frames 1002 to 1003"),
    ],
)
def test_doubt_names_frames_and_sigma(sigmas: tuple[float | None, ...], seen: str) -> None:
    (problem,) = tell_tracks(JOB, {"lamp": track(*(placed(sigma=each) for each in sigmas))})
    assert problem.what == "the place of pass lamp is not sure on 2 of 3 frames"
    assert problem.seen == seen
    assert problem.expected == "known to 0.3 px"
    assert "alignment frame" in problem.remedy


@pytest.mark.parametrize(
    ("source", "words"),
    [
        ("neighbours", "taken from other passes"),
        ("interpolated", "taken from frames before and after"),
    ],
)
def test_a_place_taken_from_elsewhere_is_told(source: str, words: str) -> None:
    lamp = track(placed(), placed(source, 0.21), placed())
    (problem,) = tell_tracks(JOB, {"lamp": lamp})
    assert words in problem.what
    assert problem.seen == "frames 1002, not measured themselves; sigma 0.21 px at worst"
    assert problem.remedy


def test_a_frame_that_was_set_aside_is_no_news_again() -> None:
    lamp = track(placed(), placed("interpolated", 0.5), placed())
    assert tell_tracks(JOB, {"lamp": lamp}, dead={1002}) == []


def test_sentences_of_the_engine_are_told_unless_they_are_told_here() -> None:
    knock = tell_steps([Step(1002, 0.64, -0.48, 0.0, 1.0, 0.02)])
    doubt = tell_doubt([1001], np.array([False]), np.array([0.5]))
    grows = "The picture slowly grows over the shot, by 0.11 px in the corner."
    assert all(sentence.startswith(TOLD_HERE) for sentence in (*knock, *doubt))

    (problem,) = tell_tracks(JOB, {"lamp": track(placed(), remarks=(*knock, grows, *doubt))})

    assert (problem.what, problem.place.pass_name) == (grows, "lamp")
