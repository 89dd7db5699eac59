"""Which channels of a picture are its colour and its coverage."""

from collections.abc import Sequence
from dataclasses import dataclass

from glimsum_jobs.errors import SourceError
from glimsum_jobs.problems import Place


@dataclass(frozen=True)
class Channels:
    """Places of the channels that are read.

    Attributes
    ----------
    rgb : tuple of int
        Indices of R, G, B; the same index three times for a grey picture.
    alpha : int or None
        Index of the coverage.
    remarks : tuple of str
        What was left out, as sentences.
    """

    rgb: tuple[int, int, int]
    alpha: int | None
    remarks: tuple[str, ...] = ()


def choose_channels(names: Sequence[str], file: str) -> Channels:
    """Choose colour and coverage among named channels.

    R, G, B and A by name first; else the only layer (``name.R``) that has them; else one grey
    channel (Y, or the only one there is besides A).

    Parameters
    ----------
    names : sequence of str
        Channel names in file order.
    file : str
        For messages.

    Returns
    -------
    Channels
        The indices, and remarks on channels left out.

    Raises
    ------
    SourceError
        Colour can't be told from the names; all of them are listed.
    """
    at = {name: index for index, name in enumerate(names)}
    layers = sorted({name[:-2] for name in names if name.endswith(".R")})
    layers = [layer for layer in layers if f"{layer}.G" in at and f"{layer}.B" in at]
    grey = [name for name in names if name != "A"]
    if {"R", "G", "B"} <= at.keys():
        chosen, alpha = ("R", "G", "B"), "A"
    elif len(layers) == 1:
        chosen = (f"{layers[0]}.R", f"{layers[0]}.G", f"{layers[0]}.B")
        alpha = f"{layers[0]}.A"
    elif len(grey) == 1 and grey[0] not in ("RY", "BY", "Z"):
        chosen, alpha = (grey[0],) * 3, "A"
    else:
        raise SourceError(
            "the colour channels can't be told",
            place=Place(file=file),
            seen=", ".join(names),
            expected="R, G, B (and A), one layer with them, or one grey channel",
        )
    left = [name for name in names if name not in (*chosen, alpha)]
    remarks = (f"channels left out: {', '.join(left)}",) if left else ()
    red, green, blue = (at[name] for name in chosen)
    return Channels((red, green, blue), at.get(alpha), remarks)
