"""Names of passes, from the folders and files they lie in."""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from glimsum_workers.draft.pieces import Piece

LONGEST = 36
"""Leaves room for a number behind it: a pass has at most 40 letters."""


def name_pieces(pieces: Sequence[Piece]) -> list[Piece]:
    """Give each piece the name of its folder or of its files, whichever is its own.

    Parameters
    ----------
    pieces : sequence of Piece
        In any order.

    Returns
    -------
    list of Piece
        In the same order. Alone in its folder: the folder's name. Else what its file names have
        before the number, where no other piece has the same; else ``""``, as on a card where
        every file is called alike.
    """
    folders = Counter(_folder(piece) for piece in pieces)
    stems = Counter(_stem(piece) for piece in pieces)
    named = []
    for piece in pieces:
        folder, stem = _folder(piece), _stem(piece)
        own = stem if stems[stem] == 1 else ""
        alone = bool(folder) and folders[folder] == 1
        named.append(replace(piece, name=folder.rpartition("/")[2] if alone else own))
    return named


def pass_name(wanted: str, taken: Sequence[str]) -> str:
    """Return `wanted` as the name of a pass, unlike every name already `taken`."""
    plain = re.sub(r"[^a-z0-9]+", "_", wanted.lower()).strip("_")
    plain = (plain if plain[:1].isalpha() else f"pass_{plain}")[:LONGEST].rstrip("_")
    name, copy = plain, 2
    while name in taken:
        name, copy = f"{plain}_{copy}", copy + 1
    return name


def _folder(piece: Piece) -> str:
    return piece.files.rpartition("/")[0].replace("%%", "%")


def _stem(piece: Piece) -> str:
    file = piece.files.rpartition("/")[2]
    stem = file.partition("%")[0] if piece.numbers else file.rpartition(".")[0]
    return stem.strip("._- ")
