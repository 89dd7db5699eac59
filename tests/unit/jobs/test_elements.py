"""Elements in a job: which file a frame shows, where it lies, and what a job is told of them."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from glimsum_jobs.elements import Element, Patch, gravity_rate

RAIN = {"files": "plates:rain.%04d.exr", "space": "lin_ap1_scene"}


def element(**more: Any) -> Element:
    return Element.model_validate({**RAIN, **more})


def numbers(told: Element, count: int, last: int | None = None) -> list[int]:
    return [
        told.number(frame, shot_first=1001, first=told.first or 0, last=last)
        for frame in range(1001, 1001 + count)
    ]


def test_the_first_file_stands_on_the_first_frame_and_one_follows_another() -> None:
    assert numbers(element(first=7), 4) == [7, 8, 9, 10]


def test_every_second_frame_brings_the_next_picture() -> None:
    assert numbers(element(first=7, every=2), 6) == [7, 7, 8, 8, 9, 9]


def test_a_step_leaves_files_out() -> None:
    assert numbers(element(first=10, step=5, every=2), 5) == [10, 10, 15, 15, 20]


def test_numbers_count_from_the_first_frame_the_element_is_there_on() -> None:
    told = element(frames={"first": 1010, "last": 1012}, first=3)

    assert [told.is_there(frame) for frame in (1009, 1010, 1012, 1013)] == [
        False,
        True,
        True,
        False,
    ]
    assert told.number(1012, shot_first=1001, first=3) == 5


def test_the_last_picture_is_held() -> None:
    assert numbers(element(first=7, beyond="hold"), 5, last=9) == [7, 8, 9, 9, 9]


def test_a_loop_goes_back_to_first_and_not_to_the_lowest_number() -> None:
    assert numbers(element(first=7, beyond="loop"), 7, last=9) == [7, 8, 9, 7, 8, 9, 7]


@given(
    first=st.integers(0, 50),
    extra=st.integers(0, 40),
    every=st.integers(1, 5),
    step=st.integers(1, 4),
    passed=st.integers(0, 500),
)
def test_a_loop_comes_back_after_whole_rounds_and_never_leaves_its_files(
    first: int, extra: int, every: int, step: int, passed: int
) -> None:
    told = element(first=first, every=every, step=step, beyond="loop")
    length = every * (extra // step + 1)

    here = told.number(1 + passed, shot_first=1, first=first, last=first + extra)
    again = told.number(1 + passed + length, shot_first=1, first=first, last=first + extra)

    assert here == again
    assert first <= here <= first + extra
    assert (here - first) % step == 0


def test_one_still_answers_every_frame() -> None:
    assert numbers(element(beyond="refuse"), 3, last=None) == [0, 1, 2]


def test_a_place_is_exact_on_its_frames_even_between_and_held_outside() -> None:
    told = element(
        place=[
            {"frame": 1001, "x": 10, "y": 4, "scale": 1, "rotation": -10},
            {"frame": 1005, "x": 30, "y": 0, "scale": 4, "rotation": 30},
        ]
    )

    middle = told.placed(1003)
    assert (middle.x, middle.y, middle.rotation) == (20, 2, 10)
    assert middle.scale == pytest.approx(2)
    assert told.placed(1001) == told.place[0]
    assert told.placed(1005) == told.place[1]
    assert told.placed(900) == told.place[0]
    assert told.placed(2000) == told.place[1]


def test_without_a_place_an_element_lies_pixel_on_pixel() -> None:
    here = element().placed(1003)

    assert (here.x, here.y, here.scale, here.rotation) == (0, 0, 1, 0)


# Visual Effects Society Handbook, appendix A, "Charts and Formulas": 1:4 at 24 -> 48; the other
# values by its formula f = r * sqrt(m).
@pytest.mark.parametrize(
    ("scale", "rate"),
    [(4, 48.0), (16, 96.0), (25, 120.0), (48, 166.28), (72, 203.65), (87, 223.86)],
)
def test_what_falls_is_filmed_faster_by_the_root_of_the_scale(scale: float, rate: float) -> None:
    assert gravity_rate(24, scale) == pytest.approx(rate, abs=0.005)


# Independent: Galileo's law of fall, t = sqrt(2 h / g). The miniature's fall, filmed at the rate
# and shown at 24, takes as long as the full-size one.
@given(st.floats(1, 1000), st.floats(0.1, 100))
def test_a_fall_filmed_so_takes_as_long_as_at_full_size(scale: float, height_m: float) -> None:
    full = (2 * height_m / 9.81) ** 0.5
    small = (2 * height_m / scale / 9.81) ** 0.5

    assert small * gravity_rate(24, scale) / 24 == pytest.approx(full, rel=1e-12)


def test_the_patch_is_about_the_first_place_unless_told() -> None:
    place = [{"frame": 1002, "x": 30, "y": 20}]
    patch = {"frame": 1004, "x": 5.5, "y": 6.5, "radius": 20}

    assert element(place=place).followed is None
    assert element(place=place, follow="reference").followed == Patch(frame=1002, x=30, y=20)
    assert element(follow="reference", patch=patch, place=place).followed == Patch(**patch)


@pytest.mark.parametrize(
    ("field", "value", "told"),
    [
        ("files", "", "at least 1 character"),
        ("space", "", "at least 1 character"),
        ("range", "wide", "'limited' or 'full'"),
        ("alpha", "yes", "'premultiplied', 'straight' or 'none'"),
        ("first", -1, "greater than or equal to 0"),
        ("every", 0, "greater than or equal to 1"),
        ("every", 1.5, "valid integer"),
        ("step", 0, "greater than or equal to 1"),
        ("beyond", "stop", "'refuse', 'hold' or 'loop'"),
        ("frames", {"first": 9, "last": 3}, "must not lie before first"),
        ("place", [{"frame": 5, "x": 0, "y": 0}, {"frame": 5, "x": 1, "y": 0}], "must lie after"),
        ("place", [{"frame": 5, "x": 0, "y": 0, "scale": 0}], "greater than or equal to 0.0039"),
        ("place", [{"frame": 5, "x": 0, "y": 0, "scale": 65}], "less than or equal to 64"),
        ("place", [{"frame": 5, "x": float("nan"), "y": 0}], "finite"),
        ("place", [{"frame": 5, "x": 0, "y": 0, "rotation": 1e9}], "less than or equal to 36000"),
        ("pivot", "middle", "'centre'"),
        ("follow", "beauty", "'reference'"),
        ("patch", {"frame": 1, "x": 0, "y": 0, "radius": 1}, "greater than or equal to 8"),
        ("softness", -1, "greater than or equal to 0"),
        ("softness", 65, "less than or equal to 64"),
        ("holdout", "No", "pattern"),
        ("model_scale", 0.5, "greater than or equal to 1"),
    ],
)
def test_bad_values_are_refused_with_what_is_allowed(field: str, value: Any, told: str) -> None:
    with pytest.raises(ValidationError, match=field) as refused:
        element(**{field: value})

    assert told in str(refused.value)
