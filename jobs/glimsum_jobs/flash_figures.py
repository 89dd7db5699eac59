"""What the flash guard found in a viewing copy: frozen values that travel as JSON."""

from typing import Literal

from pydantic import BaseModel, ConfigDict

from glimsum_jobs.flash_limits import MOST_FLASHES

FlashKind = Literal["general", "red"]
FlashArea = Literal["picture", "field"]


class FlashSecond(BaseModel):
    """The worst second of one kind of flash, over one kind of area."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    kind: FlashKind
    area: FlashArea
    """picture: more than a quarter of the whole picture flashes. field: of some 10 degree field."""
    flashes: int
    """Flashes that begin in this second."""
    frames: tuple[int, ...]
    """Shot frames on which they begin."""
    box: tuple[int, int, int, int]
    """Left, top, right and bottom of the place, pixels of the viewing copy."""

    @property
    def is_over(self) -> bool:
        """Return whether these are more flashes than the limit."""
        return self.flashes > MOST_FLASHES


class Flashing(BaseModel):
    """The verdict on one viewing copy."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    seconds: tuple[FlashSecond, ...] = ()
    """Of each kind and area that flashes at all, the worst second."""
    over: tuple[int, ...] = ()
    """Shot frames on which the flashes of all seconds over the limit begin."""
    picture: str | None = None
    """Sheet of the worst second, within the version's folder; None where nothing is over."""

    @property
    def worst(self) -> FlashSecond | None:
        """Return the second with most flashes, the larger area first; None without a flash."""
        return max(self.seconds, key=lambda s: (s.flashes, s.area == "picture"), default=None)
