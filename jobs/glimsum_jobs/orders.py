"""One version of one shot, as the workers are given it."""
# The methods of a Protocol have no body.
# pyright: reportReturnType=false

from typing import Protocol

from pydantic import BaseModel, ConfigDict

from glimsum_jobs.frame_ranges import FrameRange
from glimsum_jobs.shot import ShotJob


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


def run_name(shot: str, version: int) -> str:
    """Return the name of a run: ``mole_040/v003``."""
    return f"{shot}/v{version:03d}"


class Orders(Protocol):
    """Where workers find the order of a run."""

    def order(self, run: str) -> RunOrder:
        """Return the order of `run`; raises StoreError if there is none."""
