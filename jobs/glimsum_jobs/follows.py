"""How a patch of the reference moves through the shot, as it was followed from its marks."""

from pydantic import BaseModel, ConfigDict

Nine = tuple[float, float, float, float, float, float, float, float, float]


class FollowedFrame(BaseModel):
    """Where the patch lies on one frame.

    `matrix` is a homography in row-major order: it takes a point (x, y, 1) of the anchor frame
    to this frame, in pixels of the reference at full size, x right, y down, centre of the first
    pixel at 0.5, 0.5.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    matrix: Nine
    sigma_px: float
    """Standard deviation of the place of its worst corner, pixels an axis; 0 where marked."""
    trusted: bool
    source: str = "followed"
    """How it is known: marked, followed, between neighbours, guessed."""
    reason: str = ""
    """Why the patch was not found on this frame; empty where it was."""


class Follow(BaseModel):
    """The way of a patch through the shot."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    anchor: int
    """Shot frame whose mark the homographies start from."""
    frames: dict[int, FollowedFrame]


class MarkGap(BaseModel):
    """How far a further mark lies from where the first one is followed to."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    frame: int
    gaps_px: tuple[float, ...]
    """By point of the mark, pixels."""
    sigma_px: float
    """How well that is known, pixels an axis."""


class Followed(BaseModel):
    """Result of following one patch through the reference pass."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    patch: str
    """``insert:NAME``, ``matte:NAME`` or ``element:NAME``."""
    model: str
    """How freely it was let move: shift, similarity, affine or homography."""
    follow: Follow
    """As the reference's own files show it."""
    mark_gaps: tuple[MarkGap, ...] = ()
