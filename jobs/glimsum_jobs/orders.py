"""What the workers are given: one version of one shot, or a wedge of it."""
# The methods of a Protocol have no body.
# pyright: reportReturnType=false

import re
from typing import Annotated, Protocol

from pydantic import BaseModel, ConfigDict, Field

from glimsum_jobs.frame_ranges import FrameNumber, FrameRange
from glimsum_jobs.paths import RootPath, parse_root_path
from glimsum_jobs.shot import ShotJob
from glimsum_jobs.varied import (
    LEAST_WIDTH_PX,
    MOST_PICTURES,
    MOST_VARIED,
    MOST_WIDTH_PX,
    Varied,
)

WEDGES = "wedges"
"""Folder of the wedges of a shot, beside its versions."""
KEPT = "kept"
"""Folder of what is measured and kept of a shot, beside its versions."""
_WEDGE = re.compile(r"[^/]+/w\d{3,6}")


class RunOrder(BaseModel):
    """A run: the job, its version and where its output goes; never changed once made."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    run: str
    """``SHOT/vNNN``, for example ``mole_040/v003``."""
    shot: str
    version: int
    job: ShotJob
    """Every path in it is ``root:path``."""
    job_digest: str
    """SHA-256 of the job's canonical JSON, hexadecimal."""
    folder: str
    """``root:path`` of the version's folder; it exists."""
    made: str
    """When the version was made, RFC 3339, UTC."""
    sequence: str | None = None
    earlier: int | None = None
    """The version this one was made from by changing its job."""
    changes: tuple[str, ...] = ()
    """What was changed, in words: ``practicals -0.5 stops (was 0)``."""
    reuse: bool = True
    """Frames that an earlier version has finished are taken over; False: all are combined anew."""
    only: FrameRange | None = None
    """The frames this version makes; None: all of the job. Everything is measured all the same,
    so that a version of the whole shot has these frames as they are here."""

    @property
    def asked(self) -> FrameRange:
        """Return the frames this version makes."""
        return self.job.frames if self.only is None else self.only

    @property
    def kept(self) -> RootPath:
        """Return the folder of what is kept of the shot for all its versions."""
        return parse_root_path(self.folder).folder.child(KEPT)


class WedgeOrder(BaseModel):
    """A wedge of a version: what is tried on which frames; never changed once made."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    run: str
    """``SHOT/wNNN``, for example ``mole_040/w001``."""
    shot: str
    wedge: int
    """Its number; wedges of a shot are counted for themselves."""
    version: int
    """The version whose job it is made of."""
    job: ShotJob
    """That job; every path in it is ``root:path``."""
    job_digest: str
    """SHA-256 of the job's canonical JSON, hexadecimal."""
    varied: Annotated[tuple[Varied, ...], Field(min_length=1, max_length=MOST_VARIED)]
    frames: Annotated[tuple[FrameNumber, ...], Field(min_length=1, max_length=MOST_PICTURES)]
    width: Annotated[int, Field(ge=LEAST_WIDTH_PX, le=MOST_WIDTH_PX)]
    """Largest width of a picture, pixels."""
    folder: str
    """``root:path`` of the wedge's folder, ``.../SHOT/wedges/wNNN``; it exists."""
    made: str
    """When it was asked for, RFC 3339, UTC."""

    @property
    def kept(self) -> RootPath:
        """Return the folder of what is kept of the shot for all its versions."""
        return parse_root_path(self.folder).folder.folder.child(KEPT)

    @property
    def sheet(self) -> str:
        """Return the name of its sheet; what each cell is stands beside it in JSON."""
        return f"{self.shot}_w{self.wedge:03d}.jpg"


Order = RunOrder | WedgeOrder


def run_name(shot: str, version: int) -> str:
    """Return the name of a version's run: ``mole_040/v003``."""
    return f"{shot}/v{version:03d}"


def wedge_name(shot: str, wedge: int) -> str:
    """Return the name of a wedge's run: ``mole_040/w001``."""
    return f"{shot}/w{wedge:03d}"


def is_wedge(run: str) -> bool:
    """Return whether a run is a wedge, by its name."""
    return _WEDGE.fullmatch(run) is not None


class Orders(Protocol):
    """Where workers find the order of a run."""

    def order(self, run: str) -> Order:
        """Return the order of `run`; raises StoreError if there is none."""
