"""What a shot leaves behind: masters and viewing copies."""

from typing import Annotated, Literal

from pydantic import Field

from glimsum_jobs.passes import Strict


class Master(Strict):
    """Scene-linear frames in the working space."""

    format: Literal["exr"] = "exr"
    compression: Literal["none", "zips", "zip"] = "zip"
    """All of them lossless."""
    pixel: Literal["half", "float"] = "half"


class Viewing(Strict):
    """Previews and a movie through a display and view of the pinned colour configuration."""

    movie: Literal["h264", "none"] = "h264"
    width: Annotated[int, Field(ge=64, le=8192, strict=True)] = 1920
    """Width of movie and previews; a smaller master is not enlarged."""
    display: str = "srgb_rec709_display"
    view: str = "ACES 2.0 - SDR 100 nits (Rec.709)"
    flash_guard: bool = True
    """Measure the movie for flashes that can trigger seizures; an aid, not a certificate."""
    warning_card: bool = False
    """Begin the movie with a card that warns of flashing pictures."""
