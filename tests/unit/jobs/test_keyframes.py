import pytest
from pydantic import TypeAdapter, ValidationError

from glimsum_jobs.keyframes import Keyframe, Stops, gain_at


def keys(*pairs: tuple[int, object]) -> tuple[Keyframe, ...]:
    return tuple(Keyframe.model_validate({"frame": f, "value": v}) for f, v in pairs)


def test_a_number_of_stops_doubles_a_stop() -> None:
    assert gain_at(1.0, 1001, "light") == 2.0
    assert gain_at(-1.0, 1001, "light") == 0.5
    assert gain_at(0.0, 1001, "light") == 1.0


def test_out_is_no_light_at_all() -> None:
    assert gain_at("out", 1001, "light") == 0.0


def test_before_the_first_and_after_the_last_key_the_value_holds() -> None:
    stops = keys((1010, 1.0), (1020, "out"))
    assert gain_at(stops, 1001, "light") == 2.0
    assert gain_at(stops, 1030, "light") == 0.0


def test_a_fade_in_light_is_even_in_light() -> None:
    stops = keys((1000, "out"), (1004, 1.0))
    assert [gain_at(stops, f, "light") for f in range(1000, 1005)] == [0, 0.5, 1.0, 1.5, 2.0]


def test_a_fade_in_stops_is_even_in_stops() -> None:
    stops = keys((1000, -2.0), (1004, 2.0))
    assert [gain_at(stops, f, "stops") for f in range(1000, 1005)] == [0.25, 0.5, 1, 2, 4]


def test_a_fade_down_to_out_ends_dark_on_its_key() -> None:
    stops = keys((1000, 0.0), (1001, "out"))
    assert gain_at(stops, 1001, "stops") == 0.0


def test_keys_out_of_order_are_refused_with_both_frames() -> None:
    raw = [{"frame": 1010, "value": 0}, {"frame": 1010, "value": 1}]
    with pytest.raises(ValidationError, match=r"keyframe 1010 must lie after keyframe 1010"):
        TypeAdapter(Stops).validate_python(raw)
