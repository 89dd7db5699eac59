import pytest
from pydantic import TypeAdapter, ValidationError

from glimsum_jobs.cues import Cue, Cues, cue_gain, cue_source
from glimsum_jobs.keyframes import Keyframe, gain_at
from glimsum_jobs.recipe import Step


def cue(number: float, frame: int, **more: object) -> Cue:
    return Cue.model_validate({"cue": number, "frame": frame, **more})


def gains(cues: list[Cue], first: int, last: int, fade: str = "light") -> list[float]:
    step = Step.model_validate({"pass": "flash", "cues": cues, "fade": fade})
    return [step.gain(frame) for frame in range(first, last + 1)]


def test_a_cue_is_dark_then_at_its_level_then_falls_evenly_in_light() -> None:
    # A made-up sheet of common practice: +1 stop on 1040, up 1, down 4; +1 stop is twice (APEX).
    flash = [cue(1, 1040, stops=1.0, up=1, down=4)]
    assert gains(flash, 1038, 1045) == [0, 0, 2, 1.5, 1, 0.5, 0, 0]


def test_up_counts_the_frames_from_dark_to_the_level() -> None:
    assert gains([cue(1, 1040, up=4)], 1035, 1041) == [0, 0, 0.25, 0.5, 0.75, 1, 0]


@pytest.mark.parametrize("frames", [0, 1])
def test_at_once_and_in_one_frame_leave_the_neighbours_dark(frames: int) -> None:
    assert gains([cue(1, 1040, up=frames, down=frames)], 1039, 1041) == [0, 1, 0]


def test_a_cue_even_in_light_is_three_keyframes() -> None:
    keys = [(1034, "out"), (1040, 1.5), (1051, "out")]
    stops = tuple(Keyframe.model_validate({"frame": f, "value": v}) for f, v in keys)
    told = [gain_at(stops, frame, "light") for frame in range(1030, 1056)]
    assert gains([cue(1, 1040, stops=1.5, up=6, down=11)], 1030, 1055) == pytest.approx(told)


def test_a_cue_that_fades_in_stops_falls_by_as_many_stops_each_frame() -> None:
    # Eight stops over four frames: two stops, a quarter of the light, a frame; dark at the end.
    assert gains([cue(1, 10, stops=1, down=4)], 10, 14, "stops") == [2, 0.5, 0.125, 0.03125, 0]


def test_of_two_cues_that_are_up_the_higher_level_counts() -> None:
    sheet = [cue(1, 10, stops=1, down=8), cue(2, 14, stops=0, down=2), cue(3, 16, stops=0)]
    # Cue 1 alone: 2, 1.75, 1.5, 1.25, 1, 0.75, 0.5, 0.25, 0. Cue 2 is level with it on frame 14.
    assert gains(sheet, 10, 18) == [2, 1.75, 1.5, 1.25, 1, 0.75, 1, 0.25, 0]


def test_stops_of_the_step_are_added_to_those_of_its_cues() -> None:
    step = Step.model_validate({"pass": "flash", "stops": -1, "cues": [cue(1, 10, stops=2)]})
    assert (step.gain(10), step.gain(11), step.varies) == (2.0, 0.0, True)


def test_a_frame_shows_the_source_of_the_highest_cue() -> None:
    sheet = [cue(1, 10, stops=1, down=8, source=10), cue(2, 12, stops=3, down=2, source=40)]
    told = [cue_source(sheet, frame) for frame in (9, 10, 12, 13, 14, 18)]
    assert told == [None, 10, 40, 40, 10, None]


def test_of_equally_high_cues_the_later_one_is_shown() -> None:
    sheet = [cue(1, 10, down=4, source=10), cue(2, 12, stops=-1, source=30)]
    assert cue_gain(sheet, 12, "light") == 0.5
    assert cue_source(sheet, 12) == 30


def test_a_cue_without_a_source_shows_the_frame_itself() -> None:
    assert cue_source([cue(1, 10, down=3)], 11) is None


@pytest.mark.parametrize(("number", "words"), [(1, "1"), (37.3, "37.3"), (120.125, "120.125")])
def test_a_number_is_written_as_on_a_sheet(number: float, words: str) -> None:
    assert cue(number, 10).number == words


@pytest.mark.parametrize(
    "wrong",
    [
        {"cue": 0},
        {"cue": 1.0001},
        {"cue": "1"},
        {"frame": 10.5},
        {"up": -1},
        {"down": 1.5},
        {"stops": 25},
        {"level": 1},
    ],
)
def test_what_no_cue_can_be_is_refused(wrong: dict[str, object]) -> None:
    with pytest.raises(ValidationError):
        Cue.model_validate({"cue": 1, "frame": 10, **wrong})


def test_a_sheet_without_a_cue_is_refused() -> None:
    with pytest.raises(ValidationError, match="at least 1"):
        TypeAdapter(Cues).validate_python([])
