"""Exposures: what is accepted, what is refused, and what is said."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from glimsum_jobs.errors import LightError
from glimsum_jobs.exposures import Exposure

UNIT = Exposure(seconds=4, f_number=16, iso=100)


def test_unit_pass_against_itself_is_nought_stops() -> None:
    assert UNIT.stops_against(UNIT).stops == 0
    assert UNIT.stops_against(UNIT).remarks == []


def test_stops_are_more_light_than_the_unit_pass() -> None:
    assert Exposure(stops=1.5).stops_against(Exposure(stops=-0.5)).stops == 2
    assert Exposure(seconds=16, f_number=16, iso=100).stops_against(UNIT).stops == 2


def test_fraction_may_be_text_or_number() -> None:
    for text, seconds in (("1/60", 1 / 60), ("0.5", 0.5)):
        read = Exposure.model_validate({"seconds": text, "f_number": 8, "iso": 100})
        assert read.seconds == seconds


@pytest.mark.parametrize("seconds", ["1/0", "soon", "1/-4", "", "0", 0, -1, 90000, "nan", "inf"])
def test_impossible_time_is_refused(seconds: object) -> None:
    with pytest.raises(ValidationError, match="seconds"):
        Exposure.model_validate({"seconds": seconds, "f_number": 8, "iso": 100})


def test_filter_factor_is_not_taken_for_a_density() -> None:
    with pytest.raises(ValidationError, match=r"nd 8 is not a density.*factor 8 has density 0\.9"):
        Exposure(seconds=1, f_number=8, iso=100, nd=8)


def test_both_ways_at_once_are_refused() -> None:
    with pytest.raises(ValidationError, match="seen both: stops and seconds"):
        Exposure(stops=1, seconds=2)


def test_half_a_camera_setting_is_refused_with_what_lacks() -> None:
    with pytest.raises(ValidationError, match="exposure lacks f_number, iso"):
        Exposure(seconds=2)
    with pytest.raises(ValidationError, match="exposure lacks seconds, f_number, iso"):
        Exposure()


def test_unknown_field_is_refused() -> None:
    with pytest.raises(ValidationError, match="aperture"):
        Exposure.model_validate({"seconds": 1, "aperture": 8, "iso": 100})


def test_two_ways_in_one_shot_are_refused_with_both_seen() -> None:
    with pytest.raises(LightError, match=r"seen: 2 stops, against the unit pass with 4 s f/16"):
        Exposure(stops=2).stops_against(UNIT)
    with pytest.raises(LightError, match="two ways"):
        UNIT.stops_against(Exposure(stops=2))


def test_number_on_no_series_is_exact_with_a_remark() -> None:
    exposed = Exposure(seconds=1 / 48, f_number=16, iso=100).stops_against(UNIT)

    assert exposed.stops == pytest.approx(math.log2(1 / 48 / 4), abs=1e-12)
    assert exposed.remarks == [
        "1/48 s stands on no series of marked numbers; taken exactly as given"
    ]


def test_exposure_reads_as_a_camera_report() -> None:
    shown = str(Exposure(seconds=8, f_number=11, iso=400, nd=0.6))

    assert shown == "8 s f/11 ISO 400 ND 0.6"


@given(st.floats(-30, 30), st.floats(-30, 30))
def test_stops_of_two_passes_are_opposite(one: float, other: float) -> None:
    a, b = Exposure(stops=one), Exposure(stops=other)

    assert a.stops_against(b).stops == -b.stops_against(a).stops


@given(st.floats(1e-5, 3600), st.floats(0.7, 90), st.integers(50, 25600), st.floats(0, 6))
def test_marked_numbers_move_no_exposure_by_more_than_a_sixth_of_a_stop(
    seconds: float, f_number: float, iso: float, nd: float
) -> None:
    exposure = Exposure(seconds=seconds, f_number=f_number, iso=iso, nd=nd)
    printed = seconds * iso / f_number**2 * 10**-nd

    assert abs(math.log2(exposure.exposure_factor() / printed)) < 1 / 6


def test_schema_offers_a_number_or_a_fraction() -> None:
    seconds = Exposure.model_json_schema()["properties"]["seconds"]

    assert "string" in str(seconds)
    assert "number" in str(seconds)
