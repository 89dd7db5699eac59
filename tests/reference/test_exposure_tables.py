"""Exposures against published series, APEX arithmetic and filter tables."""

import math

import pytest

from glimsum_jobs.exposures import Exposure
from glimsum_jobs.marked_numbers import aperture_stops, time_stops

# Full-stop f-numbers and speeds, APEX: Av = log2 N^2, Tv = -log2 t (ISO 2720; D. A. Kerr,
# "APEX - Additive System of Photographic Exposure", 2007). The marks are nominal.
FULL_STOPS = [(1, 0), (1.4, 1), (2, 2), (2.8, 3), (4, 4), (5.6, 5), (8, 6), (11, 7), (16, 8)]
FULL_STOPS += [(22, 9), (32, 10), (45, 11), (64, 12), (90, 13)]
FULL_SPEEDS = [(2, 1), (4, 2), (8, 3), (15, 4), (30, 5), (60, 6), (125, 7), (250, 8), (500, 9)]
FULL_SPEEDS += [(1000, 10), (2000, 11), (4000, 12), (8000, 13)]


@pytest.mark.parametrize(("mark", "av"), FULL_STOPS)
def test_full_stop_f_numbers_are_whole_apex_values(mark: float, av: int) -> None:
    assert aperture_stops(mark) == (av, "")


@pytest.mark.parametrize(("mark", "tv"), FULL_SPEEDS)
def test_full_stop_speeds_are_whole_apex_values(mark: int, tv: int) -> None:
    assert time_stops(1 / mark) == (-tv, "")


@pytest.mark.parametrize(
    ("f_number", "av"),
    # Third stops between f/4 and f/8 and half stops, as cameras mark them (common practice,
    # no source).
    [(4.5, 13 / 3), (5, 14 / 3), (6.3, 16 / 3), (7.1, 17 / 3), (6.7, 5.5), (9.5, 6.5), (19, 8.5)],
)
def test_thirds_and_halves_resolve(f_number: float, av: float) -> None:
    stops, remark = aperture_stops(f_number)

    assert stops == pytest.approx(av, abs=1e-12)
    assert remark == ""


def test_exact_member_written_out_needs_no_remark() -> None:
    assert aperture_stops(11.3137) == (7, "")


def test_whole_seconds_are_exact_not_the_power_of_two_near_by() -> None:
    assert time_stops(15) == (math.log2(15), "")
    assert time_stops(30) == (math.log2(30), "")


def test_eight_seconds_f11_iso400_against_two_seconds_f16_iso100_is_five_stops() -> None:
    # Worked by hand: log2(8/2) = 2, f/11 to f/16 = 1, ISO 400/100 = 2; with the digits as
    # printed it would be 5.081.
    unit = Exposure(seconds=2, f_number=16, iso=100)

    assert Exposure(seconds=8, f_number=11, iso=400).stops_against(unit).stops == 5


@pytest.mark.parametrize(
    ("density", "stops"),
    # T = 10^-D (ISO 5-2, from memory); the stops are log2 of it, worked apart from the code.
    [(0.3, 0.9966), (0.6, 1.9932), (0.9, 2.9897), (1.2, 3.9863), (2.0, 6.6439), (3.0, 9.9658)],
)
def test_neutral_density_takes_the_stops_of_its_transmittance(density: float, stops: float) -> None:
    unit = Exposure(seconds=1, f_number=8, iso=100)
    filtered = Exposure(seconds=1, f_number=8, iso=100, nd=density)

    assert filtered.stops_against(unit).stops == pytest.approx(-stops, abs=5e-5)


@pytest.mark.parametrize(
    ("exposure", "stops"),
    # A night's shooting list, worked by hand against beauty at 4 s f/16 ISO 100.
    [
        ({"seconds": 1}, -2),
        ({"seconds": 4}, 0),
        ({"seconds": 16}, 2),
        ({"seconds": 2, "nd": 0.6}, -2.9932),
        ({"seconds": 8, "iso": 200}, 2),
        ({"seconds": 0.5}, -3),
    ],
)
def test_shooting_list_gives_its_stops(exposure: dict[str, float], stops: float) -> None:
    beauty = Exposure(seconds=4, f_number=16, iso=100)
    exposed = Exposure.model_validate({"f_number": 16, "iso": 100, **exposure})

    assert exposed.stops_against(beauty).stops == pytest.approx(stops, abs=5e-5)
    assert exposed.stops_against(beauty).remarks == []
