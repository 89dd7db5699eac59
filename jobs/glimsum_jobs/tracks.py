"""Where each pass lies against the reference: measured by frame, solved by pass."""

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

Pair = tuple[float, float]
Rows = tuple[Pair, Pair]
"""Rows of a 2 x 2 matrix for columns (x, y)."""

ONLY_WHERE_KNOWN = Field(exclude_if=lambda value: value is None)
"""Left out of JSON where it is None."""


class Registered(BaseModel):
    """What registering two pictures told; the motion maps a place of the first to the second."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    dx: float
    dy: float
    rotation_deg: float
    scale: float
    sigma_px: float | None
    """Standard error of the shift a axis at the centre; None where nothing was found."""
    corner_sigma_px: float | None
    trusted: bool
    alarm: float
    reason: str = ""
    matrix: Rows | None = None
    """Of an affine motion, rotation and scale included, which are the nearest ones then."""
    parallax: Pair | None = None
    """x, y: how far what is one deviation nearer than the mean is displaced beyond it, pixels."""
    parallax_sigma_px: float | None = None
    parallax_pull: tuple[float, ...] = ()
    """How dx, dy, growth and turning (pixels in the corner) answer to a parallax that is held
    elsewhere, by pixel of its x, then of its y."""
    travel_px: Pair | None = None
    """How far what is one deviation nearer moves beyond the mean in one frame of the reference."""


class Tracked(BaseModel):
    """Result of tracking one pass on one frame."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    pass_name: str
    frame: int
    cross: Registered | None
    """From the reference to the pass, in whatever light each was shot."""
    own: Registered | None
    """Locked camera: from the best frame of the pass to this one. Moving camera: from this
    frame of the pass to the next."""
    no_parallax: str = ""
    """Why near and far can't be told apart on this frame, where parallax was asked for."""


class Aligned(BaseModel):
    """Result of registering the alignment frame of a pass."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    pass_name: str
    frame: int
    """The shot frame it belongs to."""
    found: Registered
    """From the reference to the alignment frame, both in the reference light."""


class Placed(BaseModel):
    """Where a pass lies on one frame, as it is brought back."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    dx: float
    dy: float
    rotation_deg: float
    scale: float
    sigma_px: float | None
    trusted: bool
    source: str
    """How it is known: measured, same light, neighbours, interpolated, still."""
    matrix: Annotated[Rows | None, ONLY_WHERE_KNOWN] = None
    """Of an affine motion, rotation and scale included, which are the nearest ones then."""
    parallax: Annotated[Pair | None, ONLY_WHERE_KNOWN] = None
    """x, y: how far what is one deviation nearer than the mean is displaced beyond it, pixels."""
    parallax_sigma_px: Annotated[float | None, ONLY_WHERE_KNOWN] = None


class Knock(BaseModel):
    """A sudden change of place before a frame."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    frame: int
    dx: float
    dy: float


class PassTrack(BaseModel):
    """The track of a pass over the shot."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    frames: dict[int, Placed]
    knocks: tuple[Knock, ...] = ()
    remarks: tuple[str, ...] = ()
    steady_from: int | None = None
    """The first frame from which the drift stays the same; None where it never does."""
