"""Which colour spaces and displays a job may name, and what to say when it names another."""

from collections.abc import Mapping
from difflib import get_close_matches
from types import MappingProxyType
from typing import Annotated

from pydantic import AfterValidator, BaseModel, ConfigDict

from glimsum_jobs.errors import SourceError
from glimsum_jobs.spaces import SPACES, WORKING_SPACES, Space


class Display(BaseModel):
    """One display of the viewing copies, with the views offered for it.

    Attributes
    ----------
    id : str
        Interop ID.
    config_name : str
        Name in the pinned configuration.
    label : str
        What it is, in plain words.
    views : tuple of str
        Ways to bring scene light onto it; the first is the usual one.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    id: str
    config_name: str
    label: str
    views: tuple[str, ...]


_SDR_709 = ("ACES 2.0 - SDR 100 nits (Rec.709)", "Un-tone-mapped")
_SDR_P3 = ("ACES 2.0 - SDR 100 nits (P3 D65)", "Un-tone-mapped")

DISPLAYS: Mapping[str, Display] = MappingProxyType(
    {
        display.id: display
        for display in (
            Display(
                id="srgb_rec709_display",
                config_name="sRGB - Display",
                label="computer screen (sRGB)",
                views=_SDR_709,
            ),
            Display(
                id="g24_rec709_display",
                config_name="Rec.1886 Rec.709 - Display",
                label="video monitor (Rec.709, gamma 2.4)",
                views=_SDR_709,
            ),
            Display(
                id="g22_rec709_display",
                config_name="Gamma 2.2 Rec.709 - Display",
                label="computer screen (Rec.709, gamma 2.2)",
                views=_SDR_709,
            ),
            Display(
                id="srgb_p3d65_display",
                config_name="Display P3 - Display",
                label="wide-gamut screen (P3)",
                views=_SDR_P3,
            ),
        )
    }
)
"""Displays of the viewing copies, by interop ID; 8 bits, standard dynamic range."""


def describe_spaces() -> str:
    """Return the list of spaces as text, one line each: ID, kind, label."""
    width = max(len(name) for name in SPACES)
    return "\n".join(
        f"{name:<{width}}  {space.kind:<6}  {space.label}" for name, space in SPACES.items()
    )


def nearest_space(name: str) -> str | None:
    """Return the ID that `name` most likely means, or None.

    Looks at IDs, at the configuration's names and at labels; case, spaces and punctuation do
    not count.
    """
    known: dict[str, str] = {}
    for space in SPACES.values():
        for words in (space.label, space.config_name or "", space.curve or ""):
            known.setdefault(_plain(words), space.id)
    for space in SPACES.values():
        known[_plain(space.id)] = space.id
        known[_plain(space.id.removeprefix("ocio:").removesuffix("_scene"))] = space.id
    known.pop("", None)
    asked = _plain(name)
    if not asked:
        return None
    close = get_close_matches(asked, known, n=1, cutoff=0.6)
    if not close:
        close = sorted((words for words in known if asked in words), key=len)[:1]
    return known[close[0]] if close else None


def find_space(name: str) -> Space:
    """Return the space called `name` (an interop ID).

    Raises
    ------
    SourceError
        When the name is not in our list; the remedy names the nearest one, and the command that
        lists all.
    """
    if name in SPACES:
        return SPACES[name]
    near = nearest_space(name)
    meant = f"Did you mean {near} ({SPACES[near].label})? " if near else ""
    raise SourceError(
        "colour space not known",
        seen=name,
        expected=f"one of our {len(SPACES)} spaces, by interop ID",
        remedy=f"{meant}`glimsum spaces` lists them.",
    )


def find_working_space(name: str) -> Space:
    """Return the working space called `name`.

    Raises
    ------
    SourceError
        When it is no working space.
    """
    if name in WORKING_SPACES:
        return SPACES[name]
    raise SourceError(
        "not a working space",
        seen=name,
        expected=f"one of {', '.join(WORKING_SPACES)}",
        remedy="Passes are combined in linear light: take lin_ap1_scene unless you know better.",
    )


def find_view(display: str, view: str) -> Display:
    """Return the display called `display`, after checking that it offers `view`.

    Raises
    ------
    SourceError
        When the display is not known or does not offer the view.
    """
    if display not in DISPLAYS:
        raise SourceError(
            "display not known",
            seen=display,
            expected=f"one of {', '.join(DISPLAYS)}",
            remedy="Take srgb_rec709_display for a computer screen.",
        )
    if view not in DISPLAYS[display].views:
        raise SourceError(
            f"display {display} does not offer this view",
            seen=view,
            expected=f"one of {', '.join(DISPLAYS[display].views)}",
            remedy=f'Take "{DISPLAYS[display].views[0]}".',
        )
    return DISPLAYS[display]


def _plain(words: str) -> str:
    """Return `words` in lower case with letters and digits only."""
    return "".join(letter for letter in words.lower() if letter.isalnum())


def _space_id(name: str) -> str:
    """Return `name`, or raise ValueError as pydantic expects it."""
    try:
        return find_space(name).id
    except SourceError as error:
        raise ValueError(str(error)) from error


def _working_space_id(name: str) -> str:
    """Return `name`, or raise ValueError as pydantic expects it."""
    try:
        return find_working_space(name).id
    except SourceError as error:
        raise ValueError(str(error)) from error


SpaceId = Annotated[str, AfterValidator(_space_id)]
"""A field of a job that names a space."""

WorkingSpaceId = Annotated[str, AfterValidator(_working_space_id)]
"""A field of a job that names a working space."""
