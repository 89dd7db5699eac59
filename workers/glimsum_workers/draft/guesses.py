"""What a pass is for, how long the shot is, how files are coded: guesses, and what to ask."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median
from typing import Literal

from glimsum_workers.draft.pieces import Piece

Use = Literal["reference", "beauty", "matte", "lamp", "dark", "ambient", "empty_backing"]

UNLIT_SPAN = 0.06
"""Brightest less darkest box, in codes 0..1, below which a picture shows no light.

Computed passes measure 0.01 to 0.03 with lamps off and 0.25 to 0.9 with a lamp on."""
TWO_TONE_SHARE = 0.7
MATTE_SPAN = 0.8

# Names that passes are given (common practice, no source). The first that fits is taken.
_NAMES: list[tuple[Use, frozenset[str]]] = [
    ("empty_backing", frozenset({"backing", "empty"})),
    ("matte", frozenset({"matte", "mattes", "silhouette"})),
    ("dark", frozenset({"dark", "darks", "cap", "capped"})),
    ("ambient", frozenset({"ambient", "leak", "leakage", "room", "off"})),
    ("reference", frozenset({"reference", "ref", "track", "tracking"})),
    ("beauty", frozenset({"beauty"})),
]
_LAMP_NAMES = frozenset(
    {"practicals", "practical", "lamps", "bulbs", "windows", "flash", "lightning", "haze",
     "mist", "smoke", "fill", "rim", "moon", "sun", "fire", "signs"}
)  # fmt: skip
_SILHOUETTE = "is it a silhouette before a lit backing, not a light? a light goes into the recipe"
_DARK_OR_AMBIENT = "is this all lamps off (use: ambient), or the lens capped (use: dark)?"


@dataclass(frozen=True)
class Light:
    """How a pass looks, from box means of its brightest picture seen, in codes 0..1.

    Attributes
    ----------
    dim, middle, bright : float
        1st, 50th and 99th percentile over the boxes.
    two_tone : float
        Share of boxes within an eighth of the span of either end, 0..1.
    """

    dim: float
    middle: float
    bright: float
    two_tone: float

    @property
    def span(self) -> float:
        """Brightest less darkest box."""
        return self.bright - self.dim


@dataclass(frozen=True)
class UseGuess:
    """What a pass is for; `question` is empty where its name leaves no doubt."""

    use: Use
    question: str = ""


def guess_use(name: str, light: Light | None) -> UseGuess:
    """Guess what a pass is for, from its name and else from its light.

    Parameters
    ----------
    name : str
        Name of its folder or file, ``""`` for a piece of a card.
    light : Light or None
        None where no picture could be seen.

    Returns
    -------
    UseGuess
        With a question wherever the guess is not certain.
    """
    return _guess_by_name(name) or _guess_by_light(light)


def _guess_by_name(name: str) -> UseGuess | None:
    words = set(re.findall(r"[a-z]+", name.lower()))
    for use, names in _NAMES:
        if words & names:
            return UseGuess(use, _SILHOUETTE if use == "matte" else "")
    if words & {"black", "blacks"}:
        return UseGuess("ambient", _DARK_OR_AMBIENT)
    if words & _LAMP_NAMES:
        return UseGuess("lamp")
    return UseGuess("beauty") if "key" in words else None


def _guess_by_light(light: Light | None) -> UseGuess:
    if light is not None and light.span < UNLIT_SPAN:
        return UseGuess("ambient", f"it looks unlit: {_DARK_OR_AMBIENT}")
    if light is not None and light.span > MATTE_SPAN and light.two_tone > TWO_TONE_SHARE:
        return UseGuess("matte", f"by its look: {_SILHOUETTE}")
    return UseGuess("lamp", "which lamp is this? a clearer name helps every report")


def guess_length(pieces: Sequence[Piece]) -> int:
    """Guess how many frames the shot has: the shortest pass that is not cut off.

    Parameters
    ----------
    pieces : sequence of Piece
        The passes that have to last the whole shot.

    Returns
    -------
    int
        The smallest count that reaches four fifths of the median count; shorter passes are taken
        for cut off. 1 where nothing but stills is there.
    """
    counts = [piece.pictures for piece in pieces if not piece.is_held]
    if not counts:
        return 1
    return min(count for count in counts if count >= 0.8 * median(counts))


def guess_space(piece: Piece) -> tuple[str | None, str]:
    """Guess the coding of a pass.

    Returns
    -------
    space : str or None
        Interop ID; None where the files do not let it be guessed.
    question : str
        Empty where there is nothing to ask.
    """
    if piece.clip is not None:
        known = {"bt709": "ocio:itu709_rec709_scene", "srgb": "srgb_rec709_scene"}
        space = known.get(piece.clip.transfer or "")
        tag = piece.clip.transfer or "nothing"
        return space, f"the clip is tagged {tag}, and so are many log clips: which curve is it?"
    if piece.kind == "jpeg":
        return "srgb_rec709_scene", "plain sRGB? a camera's own JPEG has its look baked in"
    if piece.kind == "png" and piece.bits == 8:
        return "srgb_rec709_scene", "plain sRGB?"
    if piece.kind == "exr":
        return None, "linear in which primaries: lin_ap1_scene, lin_rec709_scene, lin_ap0_scene?"
    return None, "which coding: srgb_rec709_scene, ocio:acescct_ap1_scene, a camera's log curve?"


def match_dark(piece: Piece, darks: Sequence[tuple[str, Piece]]) -> str | None:
    """Return the name of the dark shot with the time and speed of `piece`, None without one."""
    for name, dark in darks:
        if piece.setting and dark.setting and _level_of(piece) == _level_of(dark):
            return name
    return None


def _level_of(piece: Piece) -> tuple[object, ...]:
    setting = piece.setting
    return (setting.seconds, setting.iso, piece.kind) if setting else (None,)
