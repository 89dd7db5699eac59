"""Elements: filmed or made apart and laid into the shot, say rain, vehicles or stars."""

from itertools import pairwise
from typing import Annotated, Literal

from pydantic import AfterValidator, Field

from glimsum_jobs.frame_ranges import FrameNumber, FrameRange
from glimsum_jobs.laid_files import LaidFiles
from glimsum_jobs.passes import Strict

Pixels = Annotated[float, Field(ge=-1_000_000, le=1_000_000, allow_inf_nan=False)]

PATCH_RADIUS_PX = 48.0
"""How far about its point a followed patch reaches when nobody says."""


class Placing(Strict):
    """Where an element lies on one frame."""

    frame: FrameNumber
    x: Pixels
    y: Pixels
    """Point of the reference picture the element's pivot lies on, pixels at full size, x right,
    y down, centre of the first pixel at 0.5, 0.5."""
    scale: Annotated[float, Field(ge=1 / 256, le=64, allow_inf_nan=False)] = 1.0
    """Pixels of the reference picture that a pixel of the element is wide."""
    rotation: Annotated[float, Field(ge=-36_000, le=36_000, allow_inf_nan=False)] = 0.0
    """Degrees about the pivot, positive from x to y (clockwise on screen)."""


def _rising(places: tuple[Placing, ...]) -> tuple[Placing, ...]:
    for earlier, later in pairwise(places):
        if later.frame <= earlier.frame:
            raise ValueError(f"place {later.frame} must lie after place {earlier.frame}")
    return places


class Patch(Strict):
    """A round patch of the reference that is followed."""

    frame: FrameNumber
    x: Pixels
    y: Pixels
    radius: Annotated[float, Field(ge=8, le=4096, allow_inf_nan=False)] = PATCH_RADIUS_PX
    """Pixels of the reference picture."""


class Element(LaidFiles):
    """Pictures that are laid into the shot, each frame resampled once."""

    frames: FrameRange | None = None
    """Shot frames the element is there on; default: all."""
    place: Annotated[tuple[Placing, ...], Field(max_length=10_000), AfterValidator(_rising)] = ()
    """In rising order, straight between in x, y and rotation, scale by equal factors; the first
    and last hold. Omitted: pixel on pixel from the top left corner."""
    pivot: tuple[Pixels, Pixels] | Literal["centre"] = (0.0, 0.0)
    """Point of the element, in its own pixels, that is laid on x, y and turned about."""
    follow: Literal["reference"] | None = None
    """reference: the place is meant on the frame of `patch`, and goes where that patch goes."""
    patch: Patch | None = None
    """What is followed; default: 48 pixels about the first place."""
    model_scale: Annotated[float, Field(ge=1, le=1000, allow_inf_nan=False)] | None = None
    """m of a miniature at 1:m that moves by its weight (water, things that fall); changes
    nothing, but the check tells at which rate it had to be filmed."""

    @property
    def followed(self) -> Patch | None:
        """Return the patch that is followed; None where nothing is, or nothing says where."""
        if self.follow is None:
            return None
        if self.patch is None and self.place:
            return Patch(frame=self.place[0].frame, x=self.place[0].x, y=self.place[0].y)
        return self.patch

    def pivot_of(self, width: int, height: int) -> tuple[float, float]:
        """Return the pivot of an element of so many pixels."""
        return (width / 2, height / 2) if self.pivot == "centre" else self.pivot

    def is_there(self, frame: int) -> bool:
        """Return whether the element is there on a shot frame."""
        return self.frames is None or frame in self.frames.numbers

    def start(self, shot_first: int) -> int:
        """Return the shot frame that shows `first`."""
        return shot_first if self.frames is None else self.frames.first

    def placed(self, frame: int) -> Placing:
        """Return the place on a shot frame, between the places that are told.

        Exact on those. x, y and rotation change evenly, scale by equal factors.
        """
        if not self.place:
            return Placing(frame=frame, x=0.0, y=0.0)
        if frame <= self.place[0].frame:
            return self.place[0]
        for earlier, later in pairwise(self.place):
            if frame == later.frame:
                return later
            if frame < later.frame:
                return _between(earlier, later, frame)
        return self.place[-1]


def _between(earlier: Placing, later: Placing, frame: int) -> Placing:
    share = (frame - earlier.frame) / (later.frame - earlier.frame)

    def even(start: float, end: float) -> float:
        return start + (end - start) * share

    return Placing(
        frame=frame,
        x=even(earlier.x, later.x),
        y=even(earlier.y, later.y),
        scale=earlier.scale * (later.scale / earlier.scale) ** share,
        rotation=even(earlier.rotation, later.rotation),
    )


def gravity_rate(rate: float, model_scale: float) -> float:
    """Return the rate at which a miniature that moves by its weight is to be filmed.

    Parameters
    ----------
    rate : float
        Frames a second of the finished shot.
    model_scale : float
        m of a miniature at 1:m, 1 or more.

    Returns
    -------
    float
        ``rate * sqrt(model_scale)`` frames a second. A fall from a height takes a time that goes
        with its root, so a fall m times shorter is over sqrt(m) times sooner. For water, smoke
        of its own weight and things that fall or break; not for what is moved frame by frame.

    References
    ----------
    Visual Effects Society Handbook, appendix A (1:4 at 24 frames a second: 48). J. A. Ball,
    Theory of Mechanical Miniatures in Cinematography, Trans. SMPE 18, 1924, 119-126.
    """
    return float(rate * model_scale**0.5)
