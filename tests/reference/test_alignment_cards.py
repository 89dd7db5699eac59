"""Registration of clips as camera cards hold them.

Rates and forms of cards: SMPTE RP 2027 and from memory (`support.coded`). A coder predicts each
block from those above, left of and before it, and what it leaves out of the rest displaces the
picture: by how much says OpenCV's `findTransformECC` of coded against given luma. No method that
reads the files can tell that from a motion of the camera; what is to be combined lies there.
"""

from collections.abc import Iterator
from functools import cache
from typing import cast

import numpy as np
import pytest

from glimsum_workers.engine.motion import STILL
from support.alignment_draws import Draw, Outcome, draws, within
from support.cards import CARDS
from support.clutter import Stock
from support.clutter_pairs import EXPOSURES, Set, forget_scenes, rms
from support.coded import Luma, from_intra_card
from support.degraded import clean
from support.luma import as_luma, coder_shift

SIZE = (540, 960)
LIGHTS = ("full", "side", "dark", "flash")
SCENES: tuple[tuple[Stock, int], ...] = (("mixed", 221), ("nets", 222))
PAIRS = tuple(draws(SCENES, LIGHTS, each=1))


MOVING = tuple(each for each in PAIRS if each.light in {"full", "side"})


@cache
def on_card(name: str, pairs: tuple[Draw, ...]) -> list[tuple[Outcome, Outcome]]:
    return [each.measure_on_card(CARDS[name], SIZE) for each in pairs]


@cache
def usual() -> float:
    return rms([each.measure_after(clean, SIZE).pair.error() for each in PAIRS])


@pytest.fixture(scope="module", autouse=True)
def memory_given_back() -> Iterator[None]:
    yield
    forget_scenes()


def turned(luma: Luma) -> Luma:
    return cast(Luma, np.ascontiguousarray(luma[::-1, ::-1]))


def told(outcomes: list[Outcome]) -> str:
    return "\n".join(each.tell() for each in outcomes)


@pytest.mark.parametrize("name", ["intra card", "group card"])
def test_a_card_costs_at_most_as_much_again(name: str) -> None:
    outcomes = [filmed for filmed, _ in on_card(name, PAIRS)]
    # Of 8 bits a dark pass has seven codes, and a group of frames no room for its noise.
    dark = [each for each in outcomes if each.draw.light == "dark" and name == "group card"]
    others = [each for each in outcomes if each not in dark]

    assert all(each.pair.found.trusted for each in outcomes), told(outcomes)
    assert within(outcomes, 3) == 1, told(outcomes)
    assert rms([each.pair.error() for each in others]) <= 2 * usual(), told(outcomes)
    assert all(each.pair.error() <= 0.1 for each in dark), told(dark)


def test_a_moving_camera_is_found_where_its_files_show_it() -> None:
    filmed, shown = zip(*on_card("group, moving", MOVING), strict=True)

    assert not any(each.fails() and each.pair.found.trusted for each in filmed), told(list(filmed))
    assert within(list(shown), 3) >= 0.95, told(list(shown))
    across = [each for each in filmed if each.draw.light != "full"]
    assert within(across, 3) >= 0.95, told(across)
    # The coder alone has moved the pictures by more than twice what a clean pair is off.
    moved = [
        np.hypot(b.pair.truth.dx - a.pair.truth.dx, b.pair.truth.dy - a.pair.truth.dy)
        for a, b in zip(filmed, shown, strict=True)
    ]
    assert rms([float(each) for each in moved]) > 2 * usual()
    assert rms([each.pair.error() for each in shown]) < rms([e.pair.error() for e in filmed])


def test_the_same_light_is_found_where_its_files_show_it_to_hundredths() -> None:
    pairs = [each for each in on_card("group, moving", MOVING) if each[0].draw.light == "full"]

    for filmed, shown in pairs:
        assert shown.pair.error() <= 0.02, told([filmed, shown])
        assert shown.pair.error() < filmed.pair.error(), told([filmed, shown])
        assert shown.pair.in_sigmas() <= 3, shown.tell()


def test_what_a_coder_displaces_turns_with_the_picture() -> None:
    """So it is the coder's order of blocks, not the picture nor a fault of the measurement."""
    seen = Set(222, SIZE, stock="nets").see("full", STILL, 1)
    luma = as_luma(seen * EXPOSURES["full"])

    upright = coder_shift(luma, from_intra_card(luma))
    back = coder_shift(luma, turned(from_intra_card(turned(luma))))

    assert min(upright) > 0.008
    assert max(back) < -0.008
