"""What a draft knows of one file, before it is known which pass the file belongs to."""

from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction
from typing import Literal


@dataclass(frozen=True)
class CameraSetting:
    """Exposure as the file states it (EXIF): what the light of a pass is reckoned from.

    Attributes
    ----------
    seconds, f_number, iso : float
        Exposure time, aperture, speed; a file that lacks one has no setting.
    """

    seconds: float
    f_number: float
    iso: float

    def __str__(self) -> str:
        """Read as ``8 s f/16 ISO 100``."""
        return f"{time_words(self.seconds)} s f/{self.f_number:g} ISO {self.iso:g}"


@dataclass(frozen=True)
class ClipTags:
    """What a clip says of itself.

    Attributes
    ----------
    rate : Fraction
        Frames a second.
    range : str or None
        Range of its codes; None where it does not say.
    transfer : str or None
        Its transfer characteristic in the words of ITU-T H.273 as the reader gives them.
    """

    rate: Fraction
    range: Literal["limited", "full"] | None
    transfer: str | None


@dataclass(frozen=True)
class Record:
    """One file found.

    Attributes
    ----------
    path : str
        Below the folder that is drafted, parts joined by ``/``.
    kind : str
        Kind of file in plain words, for example ``jpeg``.
    width, height : int
        Pixels.
    bits : int
        Bits of a code; 16 or 32 for floating point.
    pictures : int
        1 for a still, the number of pictures of a clip.
    setting : CameraSetting or None
        None where the file does not say.
    captured : datetime or None
        Camera's clock, without a zone.
    clip : ClipTags or None
        None for a still.
    """

    path: str
    kind: str
    width: int
    height: int
    bits: int = 8
    pictures: int = 1
    setting: CameraSetting | None = None
    captured: datetime | None = None
    clip: ClipTags | None = None


def time_words(seconds: float) -> str:
    """Write an exposure time as a camera shows it: ``1/60`` below 0.3 s, else a number."""
    if 0 < seconds < 0.3:
        under = round(1 / seconds)
        if abs(1 / seconds - under) <= 0.02 * under:
            return f"1/{under}"
    return f"{seconds:g}"
