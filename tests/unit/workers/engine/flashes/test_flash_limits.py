from fractions import Fraction

import pytest

from glimsum_workers.engine.flashes import cells, changes, counting, guard, light, screen
from support.flash_proofs import PROOFS


@pytest.mark.parametrize("name", PROOFS)
def test_the_published_limits_are_met_on_both_sides(name: str) -> None:
    PROOFS[name]()


SHARP = [
    (changes, "STEP", 0.098, "a_tenth_of_the_luminance"),
    (changes, "STEP", 0.104, "a_tenth_of_the_luminance"),
    (changes, "BRIGHT", 0.79, "the_darker_below_eight_tenths"),
    (changes, "BRIGHT", 0.81, "the_darker_below_eight_tenths"),
    (light, "RED_SHARE", 0.79, "four_fifths_are_saturated_red"),
    (light, "RED_SHARE", 0.81, "four_fifths_are_saturated_red"),
    (changes, "RED_STEP", 19 / 320, "red_light_that_changes"),
    (changes, "RED_STEP", 21 / 320, "red_light_that_changes"),
    (changes, "RED_CHROMATICITY", 0.19, "red_that_changes_its_colour"),
    (changes, "RED_CHROMATICITY", 0.21, "red_that_changes_its_colour"),
    (light, "BLACKEST", 1 / 70, "black_is_no_red"),
    (light, "BLACKEST", 1 / 60, "black_is_no_red"),
    (screen, "AREA_SHARE", 0.24, "a_quarter_of_a_field"),
    (screen, "AREA_SHARE", 0.26, "a_quarter_of_a_field"),
    (screen, "AREA_SHARE", 0.249, "a_quarter_of_the_picture"),
    (screen, "AREA_SHARE", 0.256, "a_quarter_of_the_picture"),
    (screen, "FIELD_PX", (330, 256), "a_quarter_of_a_field"),
    (screen, "FIELD_PX", (360, 256), "a_quarter_of_a_field"),
    (screen, "SCREEN_PX", (900, 768), "a_quarter_of_a_field"),
    (screen, "SCREEN_PX", (1200, 900), "a_quarter_of_a_field"),
    (counting, "MOST_FLASHES", 2, "three_in_a_second"),
    (counting, "MOST_FLASHES", 4, "places_that_take_turns_count_together"),
    (cells, "MOST_FLASHES", 2, "three_in_a_second"),
    (cells, "MOST_FLASHES", 4, "strikes_that_fall_slowly_are_counted_by_place"),
    (guard, "MOST_FLASHES", 2, "three_in_a_second"),
    (guard, "MOST_FLASHES", 4, "three_in_a_second"),
    (counting, "TOGETHER", Fraction(1, 24), "what_comes_within_a_twelfth_is_together"),
]
"""A limit, another value for it, and the proof that must fail with it."""


@pytest.mark.parametrize(("module", "name", "value", "proof"), SHARP)
def test_a_limit_that_is_moved_breaks_its_proof(
    module: object, name: str, value: object, proof: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, name, value)
    with pytest.raises(AssertionError):
        PROOFS[proof]()


def test_a_longer_second_breaks_the_proof_of_three(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    begin = counting.FlashCount.__init__

    def longer(self: counting.FlashCount, to: screen.Screen, rate: Fraction) -> None:
        begin(self, to, rate * Fraction(28, 24))

    monkeypatch.setattr(counting.FlashCount, "__init__", longer)
    with pytest.raises(AssertionError):
        PROOFS["three_in_a_second"]()
