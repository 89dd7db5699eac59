"""One pass of a shot: where its pictures are, what their numbers mean, what is taken away."""

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from glimsum_jobs.exposures import Exposure
from glimsum_jobs.frame_ranges import FrameNumber, source_number
from glimsum_jobs.keyframes import Fade, Stops, gain_at

Name = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]{0,39}$")]
"""Name of a pass or matte: lower case letters, digits and underscores."""

FileName = Annotated[str, Field(min_length=1, max_length=1024)]
SpaceName = Annotated[str, Field(min_length=1, max_length=80)]

Use = Literal["dark", "ambient", "empty_backing"]
"""What a pass is for when it is not a lamp pass."""

Linear = Annotated[float, Field(ge=-1, le=1, allow_inf_nan=False)]
Gain = Annotated[float, Field(gt=0, le=64, allow_inf_nan=False)]
Rgb = tuple[Linear, Linear, Linear]


StartOffset = Annotated[int, Field(ge=-100_000, le=100_000, strict=True)] | Literal["auto"]


class Strict(BaseModel):
    """Base of every part of a job: unknown fields are refused and nothing changes after reading."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)


class Level(Strict):
    """A level stated as numbers instead of a pass."""

    level: Rgb
    """Red, green, blue, linear in the camera's own primaries, as recorded (before exposure)."""


class WhiteBalance(Strict):
    """Gains that make a grey card grey."""

    gains: tuple[Gain, Gain, Gain]
    """Red, green, blue; multiplied in the camera's own primaries."""


class Crop(Strict):
    """The part of each picture that is used, in pixels from its top left corner."""

    x: Annotated[int, Field(ge=0, le=65535, strict=True)]
    y: Annotated[int, Field(ge=0, le=65535, strict=True)]
    width: Annotated[int, Field(ge=1, le=65535, strict=True)]
    height: Annotated[int, Field(ge=1, le=65535, strict=True)]


class Steady(Strict):
    """Every frame held to the level of one, say the one that was metered."""

    steady: FrameNumber
    stops: Stops = 0.0
    """What the lamp was meant to do, as in a step: stays in the light, all else is taken out."""
    fade: Fade = "light"
    colour: bool = False
    """Red and blue too are held to those of the frame: takes out a white balance that drifted."""

    def meant(self, frame: int) -> float:
        """Return the light the lamp was meant to give on a frame, linear, 0 where out."""
        return gain_at(self.stops, frame, self.fade)


class AlignmentFrame(Strict):
    """One picture of the set in the reference light, taken where the rig stood for the pass."""

    file: FileName
    """A still, or a clip of which the first frame is taken; relative or root:path."""
    frame: FrameNumber | None = None
    """Shot frame at whose place of the rig it was taken; default: the first, of a
    locked camera the first on which the lamp burns."""
    space: SpaceName | None = None
    """Interop ID of its encoding; default: that of the pass."""


class Pass(Strict):
    """One run of the move with one lighting set-up."""

    files: FileName
    """A pattern with one %04d, a clip, or one still held over the shot; relative or root:path."""
    space: SpaceName
    """Interop ID of the encoding of the files."""
    range: Literal["limited", "full"] | None = None
    """Range of the codes of a clip; asked for where the clip does not say."""
    use: Use | None = None
    """None: a lamp pass."""
    exposure: Exposure | None = None
    """How much light the pass received; a lamp pass must say."""
    first: FrameNumber | None = None
    """File number of the first shot frame; default: the lowest number present (clips: 0)."""
    step: Annotated[int, Field(ge=1, le=1000, strict=True)] = 1
    skip: tuple[FrameNumber, ...] = ()
    """File numbers that hold shots that don't count."""
    start_offset: StartOffset = 0
    """In files; positive: the pass was started early and its picture is found later. auto: found
    by the check, at most 24 steps either way."""
    white_balance: WhiteBalance | None = None
    dark: Name | Level | None = None
    """Pass with ``use: dark``, or the level itself."""
    ambient: Name | None = None
    """Pass with ``use: ambient``."""
    level: Literal["follow", "steady"] | Steady = "follow"
    """steady: flicker from frame to frame and slow changes of less than a quarter of a stop are
    taken out, larger ones are kept as fades; or name the frame that all are held to, as
    ``{steady: 1006}``."""
    align: Literal["none", "shift", "similarity", "affine", "field"] = "similarity"
    """What the pass may have drifted by against the reference, and is brought back by.

    field: a similarity, and parallax where the camera itself stood elsewhere; near and far are
    told apart by the reference's own move, so the camera must move and not only turn.
    """
    alignment_frame: FileName | AlignmentFrame | None = None
    """The set in the reference light from where the rig stood: frees the place of the pass from
    what other light does to it."""
    missing: Literal["fail", "nearest"] = "fail"
    """nearest: a missing file is replaced by its nearest neighbour, and reported."""
    crop: Crop | None = None

    @property
    def is_steady(self) -> bool:
        """Return whether flicker is taken out of this pass."""
        return self.level != "follow"

    @property
    def alignment(self) -> AlignmentFrame | None:
        """Return the alignment frame, however it was written."""
        told = self.alignment_frame
        return AlignmentFrame(file=told) if isinstance(told, str) else told

    @property
    def alignment_picture(self) -> "Pass | None":
        """Return how the alignment frame is decoded: as the pass is, but for its space."""
        told = self.alignment
        if told is None:
            return None
        changed = {"files": told.file, "space": told.space or self.space}
        return self.model_copy(update=changed)

    @property
    def stated_offset(self) -> int:
        """Return the start offset in files; ValueError where it is yet to be found."""
        if self.start_offset == "auto":
            raise ValueError("start_offset: auto is no number until the check has found it")
        return self.start_offset

    def number(self, frame: int, *, shot_first: int, first: int) -> int:
        """Return the file number of a shot frame, `first` resolved; see `source_number`."""
        return source_number(
            frame,
            shot_first=shot_first,
            first=first,
            step=self.step,
            skip=frozenset(self.skip),
            start_offset=self.stated_offset,
        )
