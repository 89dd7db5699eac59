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
    """Standard deviation of the place of its corners, pixels an axis."""
    trusted: bool


class Follow(BaseModel):
    """The way of a patch through the shot."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    anchor: int
    """Shot frame the homographies start from."""
    frames: dict[int, FollowedFrame]
