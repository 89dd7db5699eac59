"""Patches followed through films whose homographies are known."""

from collections.abc import Mapping
from functools import lru_cache

import numpy as np
import pytest
from numpy.typing import NDArray

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.planar.follow_patch import follow_patch
from glimsum_workers.engine.planar.homography import carry
from glimsum_workers.engine.planar.sights import FollowedPatch
from glimsum_workers.engine.registration.prepared import Prepared, prepare
from support.flat_patches import BOARD, HEIGHT, WIDTH, film, moves, texture

COUNT = 7
MOVES = moves(COUNT)
Film = Mapping[int, NDArray[np.float32]]


@lru_cache(maxsize=1)
def textured() -> Film:
    return film(texture(), MOVES)


def looked_at(shown: Film) -> dict[int, Prepared]:
    return {frame: prepare(light) for frame, light in shown.items()}


def followed(
    shown: Film,
    marks: Mapping[int, NDArray[np.float64]],
    *,
    radius_px: float | None = None,
    same_places: bool = True,
) -> FollowedPatch:
    pictures = looked_at(shown)
    return follow_patch(
        pictures.get, range(COUNT), marks, radius_px=radius_px, same_places=same_places
    )


def truth(frame: int, points: NDArray[np.float64] = BOARD) -> NDArray[np.float64]:
    return carry(MOVES[frame], points)


def errors(found: FollowedPatch, points: NDArray[np.float64] = BOARD) -> NDArray[np.float64]:
    """Return x, y errors by frame and point, the mark being `points` on frame 0."""
    laid = [carry(found.sights[f].matrix, points) for f in range(COUNT)]
    return np.array([each - truth(f, points) for f, each in enumerate(laid)])


def test_corners_are_followed_to_a_few_hundredths_and_know_it() -> None:
    found = followed(textured(), {0: BOARD})

    left = errors(found)
    sigma = np.array([found.sights[f].sigma_px for f in range(1, COUNT)])
    assert found.model == "homography"
    assert np.sqrt(np.mean(left**2)) < 0.02
    assert (np.abs(left[1:]).max(axis=(1, 2)) < 4 * sigma).all()
    assert [sight.source for sight in found.sights.values()] == ["marked"] + ["followed"] * 6


def test_the_mark_may_stand_on_any_frame() -> None:
    found = followed(textured(), {4: truth(4)})

    left = [carry(found.sights[f].matrix, truth(4)) - truth(f) for f in range(COUNT)]
    assert found.anchor == 4
    assert np.abs(left).max() < 0.06


def test_a_change_of_light_does_not_move_it() -> None:
    lit = {frame: light * np.float32(1 - 0.09 * frame) for frame, light in textured().items()}

    assert np.sqrt(np.mean(errors(followed(lit, {0: BOARD})) ** 2)) < 0.02


def test_what_crosses_in_front_does_not_pull() -> None:
    crossed = {}
    for frame, light in textured().items():
        covered = light.copy()
        x = 84 + 12 * frame
        covered[60:135, x : x + 14] = texture(9)[60:135, x : x + 14].astype(np.float32) * 2
        crossed[frame] = covered

    left = errors(followed(crossed, {0: BOARD}))
    assert np.sqrt(np.mean(left**2)) < 0.05
    assert np.abs(left).max() < 0.25


def test_a_flat_patch_is_refused_with_its_detail_and_what_to_do() -> None:
    even = np.full((HEIGHT, WIDTH), 0.4)
    with pytest.raises(LightError, match="too flat to be followed") as refused:
        followed(film(even, MOVES), {0: BOARD})

    assert "times the noise on frame 0" in refused.value.seen
    assert "larger patch" in refused.value.remedy


def test_a_patch_no_other_frame_shows_is_refused() -> None:
    other = dict(textured())
    for frame in range(1, COUNT):
        other[frame] = film(texture(40 + frame), {frame: MOVES[frame]})[frame]

    with pytest.raises(LightError, match="found on no other frame") as refused:
        followed(other, {0: BOARD})

    assert "frame 1, next to the marked frame 0" in refused.value.seen


def test_a_frame_that_does_not_show_it_lies_between_its_neighbours_and_says_why() -> None:
    gone = dict(textured())
    gone[3] = film(np.full((HEIGHT, WIDTH), 0.4), {3: MOVES[3]}, noise=0.01)[3]

    sight = followed(gone, {0: BOARD}).sights[3]

    assert sight.source == "between neighbours"
    assert sight.reason
    assert np.abs(carry(sight.matrix, BOARD) - truth(3)).max() < 1.0
    assert sight.sigma_px > 0.1


def test_a_dead_frame_is_bridged() -> None:
    pictures = looked_at(textured())
    del pictures[2]

    sight = follow_patch(pictures.get, range(COUNT), {0: BOARD}).sights[2]

    assert sight.reason == "the reference has no picture here"
    assert sight.source == "between neighbours"


def test_frames_beyond_the_last_sight_are_not_trusted() -> None:
    gone = dict(textured())
    for frame in (5, 6):
        gone[frame] = film(texture(40 + frame), {frame: MOVES[frame]})[frame]

    sights = followed(gone, {0: BOARD}).sights

    assert [sights[f].trusted for f in range(COUNT)] == [True] * 5 + [False] * 2
    assert sights[6].source == "guessed"


def test_a_second_mark_holds_and_corrects_the_frames_about_it() -> None:
    wrong = BOARD + np.array([3.0, 0.0])

    alone = errors(followed(textured(), {0: wrong}), wrong)
    both = followed(textured(), {0: wrong, 1: truth(1)})

    assert np.abs(alone).max() < 0.2  # it follows the place that was marked, wrong as it is
    left = np.array([carry(both.sights[f].matrix, wrong) - truth(f) for f in range(1, COUNT)])
    assert np.abs(left).max() < 0.06
    (gap,) = both.mark_gaps
    assert gap.frame == 1
    assert gap.gaps_px == pytest.approx((3.0,) * 4, abs=0.1)


def test_frames_between_two_marks_lie_between_both() -> None:
    off = truth(6) + np.array([1.2, 0.0])

    found = followed(textured(), {0: BOARD, 6: off})

    pulled = errors(found)[..., 0].mean(axis=1)
    assert pulled == pytest.approx([0, 0.2, 0.4, 0.6, 0.8, 1.0, 1.2], abs=0.08)


def test_a_small_patch_gets_fewer_numbers() -> None:
    spot = np.array([[130.0, 95.0]])

    grainy = film(texture(), MOVES, noise=0.03)

    found = followed(grainy, {0: spot}, radius_px=9.0)

    assert found.model in ("shift", "similarity")
    assert np.abs(errors(found, spot)).max() < 0.25


def test_outlines_drawn_anew_do_not_bend_the_way() -> None:
    smaller = truth(3) * 0.5 + truth(3).mean(axis=0) * 0.5

    found = followed(textured(), {0: BOARD, 3: smaller}, same_places=False)

    assert np.sqrt(np.mean(errors(found) ** 2)) < 0.02
    assert found.mark_gaps == ()


def test_no_marked_frame_with_a_picture_is_refused() -> None:
    with pytest.raises(LightError, match="no marked frame has a picture") as refused:
        follow_patch(lambda frame: None, range(COUNT), {2: BOARD})

    assert refused.value.seen == "marks on 2"
