"""Opening a pass of the draft: small pictures to look at, and what its light is measured by."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from glimsum_jobs.errors import LightError, SourceError
from glimsum_jobs.paths import RootPath
from glimsum_workers.draft.guesses import Use
from glimsum_workers.draft.looks import Look, look_at, spread_over
from glimsum_workers.draft.measuring import (
    Backing,
    Flicker,
    backing_level,
    bright_level,
    coding_of,
    level_plane,
    light_in,
    measure_flicker,
    middle_row,
)
from glimsum_workers.draft.pass_lines import LAMPS
from glimsum_workers.draft.pieces import Piece
from glimsum_workers.engine.codes import Image
from glimsum_workers.frames.roots import Roots
from glimsum_workers.frames.sources import open_source

_MOST_NAMED = 3


@dataclass(frozen=True)
class Measured:
    """What the light of a pass says; None where that isn't asked or can't be told."""

    flicker: Flicker | None = None
    backing: Backing | None = None


def look_over(roots: Roots, path: RootPath, piece: Piece) -> tuple[list[Look], list[str]]:
    """Look at pictures spread over a pass.

    Parameters
    ----------
    roots : Roots
        Where the drafted folder is.
    path : RootPath
        The files of the piece.
    piece : Piece
        What is known of them.

    Returns
    -------
    looks : list of Look
        The first one's label says how many of the pictures these are, if some are left out.
    troubles : list of str
        Pictures that can't be read.
    """
    numbers = _numbers(piece)
    full_range = piece.clip is not None and piece.clip.range == "full"
    looks: list[Look] = []
    troubles: list[str] = []
    with open_source(roots, path) as source:
        for number in spread_over(numbers):
            label = "" if piece.is_held else str(number)
            try:
                looks.append(look_at(source.read(number), label, full_range=full_range))
            except SourceError as error:
                troubles.append(f"{source.file_name(number)} can't be read: {error.what}")
    if looks and len(looks) < len(numbers):
        label = f"{looks[0].label} ({len(looks)} of {len(numbers)} pictures)"
        looks[0] = replace(looks[0], label=label)
    return looks, troubles[:_MOST_NAMED]


def measure(roots: Roots, path: RootPath, piece: Piece, use: Use) -> Measured:
    """Measure what the draft asks about a pass: flicker of a lamp, backing of a silhouette.

    Parameters
    ----------
    roots : Roots
        Where the drafted folder is.
    path : RootPath
        The files of the piece.
    piece : Piece
        What is known of them.
    use : Use
        What the pass is taken for; only lamps and silhouettes are measured.

    Returns
    -------
    Measured
        Pictures that can't be read are left out of a backing, and end the search for flicker.
    """
    coding = coding_of(piece)
    if coding is None:
        return Measured()
    numbers = _numbers(piece)
    if use == "matte":
        lights = _lights(roots, path, piece, spread_over(numbers))
        levels = [bright_level(light) for light in lights if light is not None]
        return Measured(backing=backing_level(levels, coding))
    if use in LAMPS and not piece.is_held:
        planes = []
        for light in _lights(roots, path, piece, middle_row(numbers)):
            plane = None if light is None else level_plane(light)
            if plane is None:
                return Measured()
            planes.append(plane)
        return Measured(flicker=measure_flicker(planes))
    return Measured()


def _lights(
    roots: Roots, path: RootPath, piece: Piece, numbers: Sequence[int]
) -> Iterator[Image | None]:
    with open_source(roots, path) as source:
        for number in numbers:
            try:
                yield light_in(source.read(number), piece)
            except (SourceError, LightError):
                yield None


def _numbers(piece: Piece) -> Sequence[int]:
    return piece.numbers or (range(piece.pictures) if piece.clip else (0,))
