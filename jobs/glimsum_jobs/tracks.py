"""Where each pass lies against the reference: measured by frame, solved by pass."""

from pydantic import BaseModel, ConfigDict


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
