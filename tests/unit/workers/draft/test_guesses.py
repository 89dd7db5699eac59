"""Names say most; light says the rest; what is uncertain is asked.

Names of passes and what they are for: common practice, no source.
"""

from fractions import Fraction

import pytest

from glimsum_workers.draft.guesses import Light, guess_length, guess_space, guess_use, match_dark
from glimsum_workers.draft.pieces import Piece
from glimsum_workers.draft.records import CameraSetting, ClipTags

UNLIT = Light(0.028, 0.036, 0.054, 0.32)
SILHOUETTE = Light(0.010, 0.221, 0.938, 0.83)
LAMP = Light(0.047, 0.059, 0.360, 0.79)
"""Measured on computed passes with lamps off, with the backing lit alone, and of small bulbs."""


def piece(pictures: int = 8, kind: str = "jpeg", **known: object) -> Piece:
    plain = Piece(f"x/x.%04d.{kind}", tuple(range(pictures)), pictures, kind, 960, 540, 8)
    return Piece(**{**plain.__dict__, **known})


@pytest.mark.parametrize(
    ("name", "use"),
    [
        ("reference", "reference"),
        ("Beauty_02", "beauty"),
        ("practicals", "lamp"),
        ("matte_backing", "empty_backing"),
        ("dark_16s", "dark"),
        ("leak", "ambient"),
        ("key", "beauty"),
    ],
)
def test_a_clear_name_decides_and_asks_nothing(name: str, use: str) -> None:
    for light in (None, UNLIT, SILHOUETTE, LAMP):
        assert (use, "") == (guess_use(name, light).use, guess_use(name, light).question)


@pytest.mark.parametrize(
    ("name", "light"), [("matte", None), ("silhouette", LAMP), ("", SILHOUETTE)]
)
def test_a_silhouette_by_name_or_look_is_asked_whether_it_is_a_light(
    name: str, light: Light | None
) -> None:
    guess = guess_use(name, light)

    assert guess.use == "matte"
    assert "a silhouette before a lit backing, not a light?" in guess.question


def test_black_is_taken_for_lamps_off_but_asked_for_it_may_be_a_capped_lens() -> None:
    guess = guess_use("black", UNLIT)

    assert guess.use == "ambient"
    assert "lens capped (use: dark)?" in guess.question


@pytest.mark.parametrize(
    ("light", "use"), [(UNLIT, "ambient"), (SILHOUETTE, "matte"), (LAMP, "lamp"), (None, "lamp")]
)
def test_a_piece_without_a_name_is_guessed_by_its_light_and_asked(
    light: Light | None, use: str
) -> None:
    guess = guess_use("", light)

    assert guess.use == use
    assert guess.question.endswith(("?", "recipe", "report"))


def test_the_shot_is_as_long_as_its_shortest_whole_pass() -> None:
    held = Piece("h.png", (), 1, "png", 8, 8, 8)

    assert guess_length([piece(11), piece(8), piece(10), held]) == 8
    assert guess_length([piece(110), piece(112), piece(31)]) == 110
    assert guess_length([held]) == 1


def test_codings_are_proposed_only_where_the_files_say_something() -> None:
    clip = ClipTags(Fraction(24), "limited", "bt709")

    assert guess_space(piece())[0] == "srgb_rec709_scene"
    assert guess_space(piece(kind="clip", clip=clip))[0] == "ocio:itu709_rec709_scene"
    assert guess_space(piece(kind="tiff", bits=16))[0] is None
    assert guess_space(piece(kind="png", bits=16))[0] is None
    assert "linear in which primaries" in guess_space(piece(kind="exr"))[1]


def test_a_dark_is_matched_by_time_and_speed_not_by_aperture() -> None:
    lamp = piece(setting=CameraSetting(16, 16, 100))
    same = piece(setting=CameraSetting(16, 22, 100))
    other = piece(setting=CameraSetting(8, 16, 100))

    assert match_dark(lamp, [("d8", other), ("d16", same)]) == "d16"
    assert match_dark(lamp, [("d8", other)]) is None
    assert match_dark(piece(), [("d", piece())]) is None
