"""Which offsets are looked at on which frames, and what is told of a pass that ran wrong."""

from collections.abc import Callable

import numpy as np
import pytest

from glimsum_workers.engine.sync.pace import Break
from glimsum_workers.engine.sync.search import Found, choose_frames, search_offset

LIT = tuple(range(1001, 1049))
REACH = tuple(range(-24, 25))


class Pass:
    """A pass whose frames lie at offsets of their own; remembers what was asked."""

    def __init__(
        self,
        at: Callable[[int], float],
        *,
        files: range = range(-30, 90),
        tells: Callable[[int], bool] = lambda _: True,
    ) -> None:
        self._at = at
        self._files = files
        self._tells = tells
        self.asked: list[tuple[int, int, bool]] = []

    def score(self, frame: int, offset: int, whole: bool) -> float:
        self.asked.append((frame, offset, whole))
        if frame - LIT[0] + offset not in self._files:
            return np.nan
        away = abs(offset - self._at(frame)) if self._tells(frame) else 0.0
        return (10.0 if whole else 4.0) * float(np.exp(-away / 2))

    def found(self, likely: tuple[int, ...] = tuple(range(-1, 10))) -> Found:
        return search_offset(LIT, likely, REACH, self.score)


def test_a_sound_pass_is_found_with_few_close_looks() -> None:
    sound = Pass(lambda _: 3.0)

    found = sound.found()

    assert (found.offset.offset, found.offset.certain) == (3, True)
    assert found.pace is not None
    assert found.pace.head == pytest.approx(3)
    assert found.pace.tail == pytest.approx(3)
    assert found.breaks == ()
    close = {each for each in sound.asked if each[2]}
    assert {frame for frame, _, _ in close} == {1002, 1025, 1047}
    assert len(close) <= 3 * 7


def test_the_frames_compared_leave_a_file_on_both_sides_of_a_pass_that_just_covers_the_shot() -> (
    None
):
    exact = Pass(lambda _: 0.0, files=range(48))

    found = exact.found(likely=(-1, 0, 1))

    assert (found.offset.offset, found.offset.certain) == (0, True)
    assert all(np.isfinite(found.scores[offset]).all() for offset in (-1, 0, 1))


def test_an_offset_beyond_the_likely_ones_is_followed() -> None:
    found = Pass(lambda _: -6.0).found()

    assert (found.offset.offset, found.offset.certain) == (-6, True)


def test_the_last_offset_that_may_be_tried_is_asked_about() -> None:
    found = Pass(lambda _: 26.0).found(likely=REACH)

    assert found.offset.offset == 24
    assert not found.offset.certain
    assert "last one that was tried" in found.offset.reason


def test_a_camera_that_stands_still_at_both_ends_is_compared_at_the_quarters_too() -> None:
    eased = Pass(lambda _: 2.0, tells=lambda frame: 1006 < frame < 1044)

    found = eased.found()

    assert (found.offset.offset, found.offset.certain) == (2, True)
    assert {1013, 1037} <= set(found.frames)


@pytest.mark.parametrize("missing", [1015, 1030, 1041])
def test_the_place_of_a_missing_file_is_halved_down_to_its_frame(missing: int) -> None:
    lacking = Pass(lambda frame: 3.0 - (frame >= missing))

    found = lacking.found()

    assert found.offset.certain
    assert found.breaks == (Break(missing, -1, 3),)
    assert len(found.frames) <= 9
    assert found.pace is not None
    assert found.pace.same_speed


def test_a_file_too_many_is_told_with_its_frame() -> None:
    found = Pass(lambda frame: 1.0 + (frame >= 1033)).found()

    assert found.breaks == (Break(1033, 1, 1),)


def test_a_pass_at_another_speed_is_no_break() -> None:
    found = Pass(lambda frame: 1.0 + 0.02 * (frame - 1001)).found()

    assert found.breaks == ()
    assert found.pace is not None
    assert not found.pace.same_speed
    assert found.pace.tail - found.pace.head == pytest.approx(0.02 * 45, abs=0.15)


def test_what_a_first_look_told_is_shown_on_the_scale_of_the_others() -> None:
    found = Pass(lambda _: 3.0).found()

    middle = found.frames.index(1025)
    assert found.scores[9][middle] == pytest.approx(10 * np.exp(-3))
    assert np.isnan(found.scores[9][0])


def test_a_lamp_that_burns_on_one_frame_is_asked_about() -> None:
    found = search_offset((1020,), (0, 1, 2), REACH, Pass(lambda _: 1.0).score)

    assert (found.offset.offset, found.offset.certain) == (1, False)
    assert "rests on 1 frame with light" in found.offset.reason


def test_a_pass_without_a_file_is_asked_about() -> None:
    found = Pass(lambda _: 0.0, files=range(0)).found()

    assert not found.offset.certain
    assert "hardly a file" in found.offset.reason


@pytest.mark.parametrize(
    ("lit", "chosen"),
    [
        ((5,), (5,)),
        ((5, 6), (5, 6)),
        ((5, 6, 9), (5, 6, 9)),
        ((5, 6, 8, 9, 11), (6, 8, 9)),
        (tuple(range(10)), (1, 5, 8)),
    ],
)
def test_frames_near_both_ends_and_in_the_middle_are_compared(
    lit: tuple[int, ...], chosen: tuple[int, ...]
) -> None:
    assert choose_frames(lit) == chosen
