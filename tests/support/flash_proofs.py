"""What flashes and what does not, figure by figure of the published limits.

Each proof asserts; the test of the limits runs them, and the test of their sharpness runs them
with a limit changed and wants them to fail. Where area matters pictures are 256 x 144: on the
screen of the estimate 1024 x 576, each pixel a cell. Codes are 8-bit sRGB; their light by hand:
((c + 0.055) / 1.055)^2.4 (IEC 61966-2-1).

Limits: W3C, WCAG 2.2, success criterion 2.3.1 and the definition "general flash and red flash
thresholds": more than three in a second; a tenth of the luminance, the darker below 0.80;
R / (R + G + B) of 0.8 with (R - G - B) x 320 changing by more than 20, or u'v' by more than 0.2;
a quarter of a field of 341 x 256 on 1024 x 768. A quarter of the screen: Ofcom, Guidance Note
Section 2, Annex 1.
"""

from collections.abc import Callable, Collection, Sequence
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.flashes.guard import FlashGuard

Colour = tuple[int, int, int]
Shape = tuple[int, int]

SIZE = (144, 256)
SMALL = (9, 16)
BLACK, WHITE = (0, 0, 0), (255, 255, 255)
FOUR = (10, 13, 16, 19)
"""Frames of four flashes in one second."""


def grey(code: int) -> Colour:
    return (code, code, code)


def encode(light: float | NDArray[np.float64]) -> NDArray[np.uint8]:
    """Return sRGB codes of linear light (IEC 61966-2-1), written anew here."""
    light = np.clip(light, 0, 1)
    code = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return np.asarray(np.rint(255 * code), np.uint8)


def watch(
    pictures: Sequence[NDArray[np.uint8]], rate: int = 24, display: str = "srgb_rec709_display"
) -> FlashGuard:
    height, width, _ = pictures[0].shape
    guard = FlashGuard(height, width, Fraction(rate), display)
    for picture in pictures:
        guard.look(picture)
    return guard


def blinks(
    dark: Colour,
    lit: Colour,
    frames: Collection[int] = FOUR,
    *,
    box: Shape | None = None,
    count: int = 24,
) -> list[NDArray[np.uint8]]:
    """Return pictures that are lit on some frames, or whose upper left box is."""
    height, width = box or SMALL
    pictures = []
    for frame in range(count):
        picture = np.full((*(SMALL if box is None else SIZE), 3), dark, np.uint8)
        picture[:height, :width] = lit if frame in frames else dark
        pictures.append(picture)
    return pictures


def most(guard: FlashGuard, kind: str, area: str = "field") -> int:
    """Return the flashes of the worst second."""
    told = [each.second.flashes for each in guard.found() if (each.kind, each.area) == (kind, area)]
    return max(told, default=0)


def general(dark: Colour, lit: Colour, box: Shape | None = None) -> int:
    return most(watch(blinks(dark, lit, box=box)), "general")


def red(dark: Colour, lit: Colour) -> int:
    return most(watch(blinks(dark, lit)), "red")


def a_tenth_of_the_luminance() -> None:
    # Codes 89 and 90: 0.0999 and 0.1022.
    assert general(BLACK, grey(89)) == 0
    assert general(BLACK, grey(90)) == 4


def the_darker_below_eight_tenths() -> None:
    # Codes 231 and 232: 0.799 and 0.807.
    assert general(grey(231), WHITE) == 4
    assert general(grey(232), WHITE) == 0


def four_fifths_are_saturated_red() -> None:
    # R 1 with G 0.246 (code 136) is 0.8025, with 0.250 (code 137) 0.7999.
    assert red(BLACK, (255, 136, 0)) == 4
    assert red(BLACK, (255, 137, 0)) == 0


def red_light_that_changes() -> None:
    # From R 0.0212 (code 40), so that the colour stays: to 0.0823 (81) 19.6, to 0.0844 (82) 20.2.
    assert red((40, 0, 0), (81, 0, 0)) == 0
    assert red((40, 0, 0), (82, 0, 0)) == 4


def red_that_changes_its_colour() -> None:
    # u'v' from (70, 0, 0) by colour-science: to (70, 42, 42) 0.1970, to (70, 43, 43) 0.2002;
    # R - G - B is 0.061 and changes by less than 0.0625.
    assert red((70, 0, 0), (70, 42, 42)) == 0
    assert red((70, 0, 0), (70, 43, 43)) == 4


def black_is_no_red() -> None:
    # Our own floor of 1/64: codes 33 and 34 are 0.0152 and 0.0160.
    assert red(BLACK, (33, 0, 0)) == 0
    assert red(BLACK, (34, 0, 0)) == 4


def a_quarter_of_a_field() -> None:
    # A field is 85.25 x 64 pixels here, a quarter 1364: 21 x 64 is 1344, 22 x 64 is 1408.
    assert general(BLACK, WHITE, box=(64, 21)) == 0
    assert general(BLACK, WHITE, box=(64, 22)) == 4
    assert most(watch(blinks(BLACK, WHITE, box=(64, 22))), "general", "picture") == 0


def a_quarter_of_the_picture() -> None:
    # 64 of 256 columns is a quarter and not above it.
    for width, flashes in ((64, 0), (65, 4)):
        guard = watch(blinks(BLACK, WHITE, box=(144, width)))
        assert most(guard, "general", "picture") == flashes


def three_in_a_second() -> None:
    # Frames 1001, 1010, 1019, 1028 at 24 are at most three in a second, 1040 and every third four.
    for first, frames, over in ((1000, (1001, 1010, 1019, 1028), 0), (1030, FOUR, 4)):
        lit = [frame - 1000 if frame > 1000 else frame for frame in frames]
        guard = watch(blinks(BLACK, WHITE, lit, count=40))
        assert most(guard, "general") == 3 + bool(over), first
        assert len(guard.over()) == over, first
        assert any(each.is_over for each in guard.found()) == bool(over), first


def what_comes_within_a_twelfth_is_together() -> None:
    # Our own figure: one half rises two frames behind the other, and falls two behind it.
    pictures = []
    for frame in range(24):
        picture = np.zeros((*SMALL, 3), np.uint8)
        picture[:, :8] = WHITE if 10 <= frame < 13 else BLACK
        picture[:, 8:] = WHITE if 12 <= frame < 15 else BLACK
        pictures.append(picture)
    assert most(watch(pictures), "general", "picture") == 1


def places_that_take_turns_count_together() -> None:
    # Each half flashes twice in the second; one flash of a quarter or more every three frames.
    pictures = []
    for frame in range(24):
        picture = np.zeros((*SMALL, 3), np.uint8)
        if frame in FOUR:
            half = slice(0, 8) if frame in FOUR[::2] else slice(8, 16)
            picture[:, half] = 255
        pictures.append(picture)
    guard = watch(pictures)
    assert most(guard, "general", "picture") == 4
    assert guard.over() == list(FOUR)


def strikes_that_fall_slowly_are_counted_by_place() -> None:
    # Of five columns one strikes to 1, one to 0.13: two fifths of every field. Up at once, down
    # over six frames, every seven: four a second at 24. The bright ones have fallen by a tenth on
    # the next frame, the dim ones on the fifth: never more than a quarter within a twelfth.
    peaks = np.tile([1.0, 0.13, 0, 0, 0], 13)[None, :64, None]
    pictures = []
    for frame in range(31):
        level = 1 - (frame - 3) % 7 / 6 if frame >= 3 else 0.0
        pictures.append(encode(np.broadcast_to(peaks * level, (36, 64, 3))))
    guard = watch(pictures)
    assert most(guard, "general", "picture") == 4
    assert guard.over() == [3, 10, 17, 24]


PROOFS: dict[str, Callable[[], None]] = {
    each.__name__: each
    for each in (
        a_tenth_of_the_luminance,
        the_darker_below_eight_tenths,
        four_fifths_are_saturated_red,
        red_light_that_changes,
        red_that_changes_its_colour,
        black_is_no_red,
        a_quarter_of_a_field,
        a_quarter_of_the_picture,
        three_in_a_second,
        what_comes_within_a_twelfth_is_together,
        places_that_take_turns_count_together,
        strikes_that_fall_slowly_are_counted_by_place,
    )
}
