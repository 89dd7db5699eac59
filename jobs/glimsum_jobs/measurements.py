"""What checking and measuring found: frozen values that travel as JSON through the ledger."""

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from glimsum_jobs.flash_figures import Flashing
from glimsum_jobs.follows import Follow
from glimsum_jobs.problems import Problem, Rank
from glimsum_jobs.tracks import PassTrack


class Found(BaseModel):
    """Base of everything found."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class FoundOffset(Found):
    """How the start offset of a pass was found, in files; scores are kept for plots."""

    margin: float
    """How much better the chosen offset scores than the next best one, of its own score, 0..1."""
    certain: bool
    reason: str = ""
    """Why it is not certain, in words; empty where it is."""
    frames: tuple[int, ...] = ()
    """Shot frames the pass was compared with the reference on."""
    scores: dict[int, tuple[float | None, ...]] = {}
    """By offset: what the pass shares with the reference on each of `frames`, nats a tile; None
    where it has no file or was not compared."""
    head: float | None = None
    tail: float | None = None
    """Offset at the first and the last of `frames`, with fractions; None where it can't be told."""


class FoundPass(Found):
    """What the check found of one pass or picture matte."""

    first: int
    """File number at the first shot frame, before the start offset."""
    start_offset: int = 0
    """In files, as stated or as found."""
    sync: FoundOffset | None = None
    """How the offset was found; None where it was stated."""
    width: int
    height: int
    """Pixels after the crop."""
    count: int
    """Files present (frames of a clip; 1 for a still)."""
    covers: bool
    """Every shot frame has a file of its own (a still held over the shot has not)."""
    alpha: bool = False
    """The files hold coverage."""
    replaced: dict[int, int] = {}
    """File numbers that are missing, and the nearest that stands in for each."""
    lacking: tuple[int, ...] = ()
    """Shot frames without a whole file on which other takes make the light."""


class FoundElement(Found):
    """What the check found of one element."""

    first: int
    """File number on the first frame it is there on."""
    last: int | None
    """Highest file number present; None for one still, which is held."""
    width: int
    height: int
    alpha: bool = False
    """The files hold coverage."""


class Checked(Found):
    """Result of the stage *check*."""

    passes: dict[str, FoundPass]
    mattes: dict[str, FoundPass]
    inserts: dict[str, FoundElement] = {}
    elements: dict[str, FoundElement] = {}
    problems: tuple[Problem, ...]
    needed_bytes: int
    free_bytes: int

    @property
    def refused(self) -> bool:
        """Return whether anything found stops the shot."""
        return any(problem.rank is Rank.STOPS_SHOT for problem in self.problems)


class Averaged(Found):
    """Result of measuring a dark, ambient or backing pass: where its average is kept."""

    pass_name: str
    key: str
    """Key of the kept arrays."""
    frames: int
    mean: tuple[float, float, float]
    """Mean of the average, linear, R G B."""
    noise: tuple[float, float, float]
    """Standard deviation of one frame's noise, linear, R G B."""
    hot_pixels: int = 0


class Sampled(Found):
    """Result of sampling the level of one pass on one frame: where the sample is kept."""

    pass_name: str
    frame: int
    key: str


class Levels(Found):
    """Flicker of one pass: the gain each frame was recorded with against the steady level.

    A sigma of -1 stands for a gain that could not be measured.
    """

    gains: dict[int, float]
    sigma: dict[int, float]
    trusted: dict[int, bool]
    colours: Annotated[dict[int, tuple[float, float]], Field(exclude_if=lambda told: not told)] = {}
    """Red and blue over green against the frame that is held to, where they are taken out."""

    def channels(self, frame: int) -> tuple[float, float, float]:
        """Return what red, green and blue of a frame are divided by."""
        gain = self.gains.get(frame, 1.0)
        red, blue = self.colours.get(frame, (1.0, 1.0))
        return gain * red, gain, gain * blue


class Solved(Found):
    """Result of the stage *solve*: everything the frames need that was measured once."""

    averages: dict[str, Averaged]
    levels: dict[str, Levels]
    tracks: dict[str, PassTrack] = {}
    follows: dict[str, Follow] = {}
    """Patches of the reference: ``insert:NAME``, ``matte:NAME``, ``element:NAME``."""
    problems: tuple[Problem, ...] = ()
    revision: str
    """Digest of all of the above; part of each frame's fingerprint."""


class Combined(Found):
    """Result of one frame."""

    frame: int
    digest: str
    """Pixel digest of the master; equal bytes of light give equal digests."""
    file_digest: str
    name: str
    bytes: int
    fingerprint: str
    form: str = ""
    """Digest of the header of the master; with the fingerprint it says that a frame of a later
    version is the same file."""
    preview: str
    preview_digest: str = ""
    look: str = ""
    """Digest of how the preview is shown."""
    reused: str | None = None
    """The earlier version the frame was taken over from: ``v001``."""
    figures: dict[str, float]
    """Shares and counts for the report: clipped, negative, replaced, clamped."""
    remarks: tuple[Problem, ...] = ()
    seconds: float


class Wedged(Found):
    """Result of a wedge; names are relative to its folder."""

    digest: str
    """SHA-256 of the sheet's file, hexadecimal; empty where there is none."""
    sheet: str | None
    """None: it was refused, and `problems` says why."""
    bytes: int
    seconds: float
    problems: tuple[Problem, ...]
    """Of check and measuring, or what refused it."""

    @property
    def refused(self) -> bool:
        """Return whether it can't be made at all."""
        return self.sheet is None


class Finished(Found):
    """Result of the stage *finish*; names are relative to the folder of the version."""

    frames: int
    """Masters that are there, whole, read again from the disk."""
    reused: int = 0
    """How many of them were taken over from an earlier version."""
    bytes: int
    movie: str | None
    sheet: str | None
    manifest: str
    flashing: Flashing | None = None
    """What the flash guard found in the movie; None where it did not look."""
    remarks: tuple[Problem, ...] = ()
    """Everything a person should know: of the check, of solving, of single frames."""
