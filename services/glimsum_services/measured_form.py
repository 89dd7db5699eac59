"""The one form in which measurements of a shot are handed on: by command, file and HTTP."""

from collections.abc import Iterable, Mapping

from pydantic import BaseModel, ConfigDict, Field

from glimsum_jobs.frame_ranges import runs_of
from glimsum_jobs.measurements import FoundPass
from glimsum_jobs.tracks import PassTrack, Placed


class Shown(BaseModel):
    """Base of what is shown."""

    model_config = ConfigDict(extra="forbid")


class _Numbered(BaseModel):
    frame: int


class PlacedFrame(Placed, _Numbered):
    """Where a pass lies on a frame.

    A place p of the reference is shown at ``c + scale * Rot(rotation) * (p - c) + (dx, dy)``, c
    the middle of the picture, pixels, x right, y down, rotation positive from x to y.
    """

    source: str = Field(default="", exclude=True)


class KnockShown(Shown):
    """The camera was knocked before a frame: by how much its picture jumped, pixels."""

    frame: int
    dx: float
    dy: float


class RegionShown(Shown):
    """What is left after alignment in one region, pixels; mean of all frames that tell of it."""

    row: int
    column: int
    x: float
    y: float
    """Middle of the region, pixels."""
    dx: float
    dy: float
    sigma_px: float
    p50_px: float
    p95_px: float
    """Length of what is left on half of the frames at most, and on 95 %."""
    frames: int


class ResidualShown(Shown):
    """What is left after alignment, by region of the picture."""

    rows: int
    columns: int
    frames: int
    p50_px: float
    p95_px: float
    sigma_px: float
    """Median standard error of a region an axis."""
    misfit: float
    """What is left in the regions over their sigma, root mean square; above 2: parallax."""
    regions: list[RegionShown]


class CandidateShown(Shown):
    """A start offset that was tried."""

    start_offset: int
    scores: list[float | None]
    """What the pass shares with the reference on each of `frames`, nats a tile."""


class OffsetShown(Shown):
    """How a start offset was found."""

    certain: bool
    margin: float
    """By which share of its own score the offset beats the next best, 0..1."""
    reason: str
    frames: list[int]
    candidates: list[CandidateShown]
    head: float | None
    tail: float | None
    """Offset at the first and the last of `frames`, with fractions of a file."""


class OverlayShown(Shown):
    """How far detail of reference and pass agree on a frame: correlation, as filmed and after."""

    frame: int
    agreement_before: float
    agreement_after: float


class PassMeasured(Shown):
    """What was measured of one pass."""

    start_offset: int
    frames: list[PlacedFrame]
    sources: dict[str, str] = {}
    """How the places of frames are known, and of which frames: measured, same light,
    neighbours, interpolated, still."""
    knocks: list[KnockShown] = []
    steady_from: int | None = None
    """The first frame from which the drift stays the same; null where it never does."""
    offset: OffsetShown | None = None
    """None where the offset was stated in the job."""


def show_pass(
    start_offset: int,
    track: PassTrack | None,
    found: FoundPass | None,
    frames: Iterable[int] | None = None,
) -> PassMeasured:
    """Return what was measured of a pass.

    Parameters
    ----------
    start_offset : int
        As stated or as found, in files.
    track : PassTrack or None
        None where its place was not measured.
    found : FoundPass or None
        What the check found of it.
    frames : iterable of int, optional
        Only these frames; all where not given. `sources` and `knocks` are always whole.
    """
    placed = {} if track is None else track.frames
    wanted = placed if frames is None else [frame for frame in frames if frame in placed]
    return PassMeasured(
        start_offset=start_offset,
        frames=[show_placed(frame, placed[frame]) for frame in wanted],
        sources=_sources(placed),
        steady_from=None if track is None else track.steady_from,
        knocks=[]
        if track is None
        else [KnockShown(**knock.model_dump()) for knock in track.knocks],
        offset=_offset(found),
    )


def show_placed(frame: int, placed: Placed) -> PlacedFrame:
    """Return where a pass lies on a frame."""
    return PlacedFrame(frame=frame, **placed.model_dump())


def _sources(placed: Mapping[int, Placed]) -> dict[str, str]:
    named: dict[str, list[int]] = {}
    for frame, each in placed.items():
        named.setdefault(each.source, []).append(frame)
    return {source: runs_of(frames) for source, frames in named.items()}


def _offset(found: FoundPass | None) -> OffsetShown | None:
    if found is None or found.sync is None:
        return None
    sync = found.sync
    return OffsetShown(
        certain=sync.certain,
        margin=sync.margin,
        reason=sync.reason,
        frames=list(sync.frames),
        candidates=[
            CandidateShown(start_offset=offset, scores=list(scores))
            for offset, scores in sorted(sync.scores.items())
        ],
        head=sync.head,
        tail=sync.tail,
    )
