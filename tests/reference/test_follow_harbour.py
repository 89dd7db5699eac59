"""The sign board of the harbour followed through the moving shot, against its true corners.

The truth is the renderer's own (``sign_corners`` in ``truth.json``); boom, ropes and rigging of
the boat cross the board on every frame. Marks are the true corners of the marked frame, so what
is held is the following alone. Limits: 0.1 pixel rms of the length of a corner's error, 0.5 at
most, over all frames but the marked one.
"""

from collections.abc import Callable, Mapping

import av
import numpy as np
import pytest
from numpy.typing import NDArray

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.planar.follow_patch import follow_patch
from glimsum_workers.engine.planar.homography import carry
from glimsum_workers.engine.planar.sights import FollowedPatch
from glimsum_workers.engine.registration.prepared import prepare
from support.harbour import HarbourShot, full_shot, read_pixels, require_full_harbour
from support.harbour_chain import decode

Light = NDArray[np.float32]
Floats = NDArray[np.float64]
Change = Callable[[Light, Floats], None]
RMS_PX, MOST_PX = 0.1, 0.5


@pytest.fixture(scope="module")
def shot() -> HarbourShot:
    return full_shot(require_full_harbour(), "moving")


@pytest.fixture(scope="module")
def reference(shot: HarbourShot) -> dict[int, Light]:
    """Return the light of the reference clip by frame; the curve is BT.709's as printed."""
    with av.open(str(shot.file("reference", 0))) as clip:
        codes = [
            frame.to_ndarray(format="rgb24").astype(np.float32) / 255
            for frame in clip.decode(video=0)
        ]
    curve = [np.where(c < 0.081, c / 4.5, ((c + 0.099) / 1.099) ** (1 / 0.45)) for c in codes]
    return {frame: np.asarray(light, np.float32) for frame, light in enumerate(curve)}


@pytest.fixture(scope="module")
def beauty(shot: HarbourShot) -> dict[int, Light]:
    return {f: decode(read_pixels(shot.file("beauty", f)), "acescct") for f in shot.frames}


def corners(shot: HarbourShot, name: str, frame: int) -> Floats:
    return np.array(shot.frame_facts(name, frame)["sign_corners"], dtype=np.float64)


def follow(
    lights: Mapping[int, Light],
    marks: Mapping[int, Floats],
    change: Mapping[int, Change] | None = None,
) -> FollowedPatch:
    pictures = {}
    for frame, light in lights.items():
        changed = light
        if change is not None and frame in change:
            changed = light.copy()
            change[frame](changed, next(iter(marks.values())))
        pictures[frame] = prepare(changed)
    return follow_patch(pictures.get, sorted(lights), marks)


def errors(
    shot: HarbourShot, name: str, found: FollowedPatch, marked: Floats
) -> dict[int, NDArray[np.float64]]:
    """Return the lengths of the corners' errors by frame."""
    return {
        frame: np.hypot(*(carry(sight.matrix, marked) - corners(shot, name, frame)).T)
        for frame, sight in found.sights.items()
    }


def rms(lengths: Mapping[int, NDArray[np.float64]], without: int) -> float:
    left = [each for frame, each in lengths.items() if frame != without]
    return float(np.sqrt(np.mean(np.square(left))))


@pytest.mark.parametrize("name", ["reference", "beauty"])
@pytest.mark.parametrize("marked", [0, 6])
def test_the_board_is_followed_to_a_tenth_of_a_pixel(
    shot: HarbourShot, name: str, marked: int, request: pytest.FixtureRequest
) -> None:
    lights = request.getfixturevalue(name)
    mark = corners(shot, name, marked)

    found = follow(lights, {marked: mark})

    lengths = errors(shot, name, found, mark)
    worst = max(float(each.max()) for each in lengths.values())

    assert rms(lengths, marked) <= RMS_PX
    assert worst <= MOST_PX
    assert all(sight.trusted for sight in found.sights.values())
    sigma = [sight.sigma_px for frame, sight in found.sights.items() if frame != marked]
    assert worst < 4 * np.sqrt(2) * max(sigma)
    # Sigma is a pixel axis of the worst corner; a length has two axes.
    assert rms(lengths, marked) < 1.5 * np.sqrt(2) * float(np.mean(sigma))


def noisy(light: Light, _: Floats) -> None:
    """Make the noise of the recording four times its own: variances add."""
    rng = np.random.default_rng(int(light[0, 0, 0] * 1e6))
    sigma = np.sqrt(15 * (3e-5 * np.maximum(light, 0) + 6e-4**2))
    light += (rng.normal(size=light.shape) * sigma).astype(np.float32)


def test_four_times_the_noise_is_borne(shot: HarbourShot, beauty: dict[int, Light]) -> None:
    mark = corners(shot, "beauty", 0)

    lengths = errors(shot, "beauty", follow(beauty, {0: mark}, dict.fromkeys(beauty, noisy)), mark)

    assert rms(lengths, 0) <= RMS_PX
    assert max(float(each.max()) for each in lengths.values()) <= MOST_PX


@pytest.mark.parametrize("corner", [0, 2])
def test_a_corner_hidden_for_four_frames_is_borne(
    shot: HarbourShot, reference: dict[int, Light], corner: int
) -> None:
    """A plain square of 24 pixels stands before the corner on frames 3 to 6 and moves with it."""

    def hide(frame: int) -> Change:
        def changed(light: Light, _: Floats) -> None:
            x, y = corners(shot, "reference", frame)[corner].round().astype(int)
            light[y - 12 : y + 12, x - 12 : x + 12] = (0.11, 0.23, 0.31)

        return changed

    mark = corners(shot, "reference", 0)
    found = follow(reference, {0: mark}, {frame: hide(frame) for frame in range(3, 7)})

    lengths = errors(shot, "reference", found, mark)
    assert rms(lengths, 0) <= RMS_PX
    assert max(float(each.max()) for each in lengths.values()) <= MOST_PX


def test_a_wrong_mark_is_corrected_by_a_second_and_told_of(
    shot: HarbourShot, reference: dict[int, Light]
) -> None:
    wrong = corners(shot, "reference", 0) + np.array([3.0, 0.0])

    alone = errors(shot, "reference", follow(reference, {0: wrong}), wrong)
    found = follow(reference, {0: wrong, 1: corners(shot, "reference", 1)})

    both = {f: each for f, each in errors(shot, "reference", found, wrong).items() if f > 1}
    assert min(float(each.min()) for each in alone.values()) > 2.5
    assert rms(both, 0) <= RMS_PX
    assert max(float(each.max()) for each in both.values()) <= MOST_PX
    (gap,) = found.mark_gaps
    assert gap.gaps_px == pytest.approx((3.0,) * 4, abs=0.2)


def test_a_flat_sign_is_refused_in_words(shot: HarbourShot, beauty: dict[int, Light]) -> None:
    def paint(light: Light, _: Floats) -> None:
        light[270:350, 470:625] = 0.4
        noisy(light, _)

    with pytest.raises(LightError, match=r"too flat to be followed.*times the noise on frame 0"):
        follow(beauty, {0: corners(shot, "beauty", 0)}, dict.fromkeys(beauty, paint))
