"""Files that are laid into a shot from outside its passes: which one stands on which frame."""

from typing import Annotated, Literal

from pydantic import Field

from glimsum_jobs.frame_ranges import FrameNumber
from glimsum_jobs.passes import FileName, Name, SpaceName, Strict


class LaidFiles(Strict):
    """What elements and screen inserts say of their files.

    On shot frame f the file number is ``first + (f - start) // every * step``, start being the
    first frame they are there on. A clip counts its frames from 0; one still is held.
    """

    files: FileName
    """A pattern with one %04d, a clip, or one still; relative or root:path."""
    space: SpaceName
    """Interop ID of the encoding of the files."""
    range: Literal["limited", "full"] | None = None
    """Range of the codes of a clip; asked for where the clip does not say."""
    alpha: Literal["premultiplied", "straight", "none"] | None = None
    """How colour was stored with its coverage; default: as the files say. none: coverage is not
    read, the whole rectangle counts as covered (light on black, laid on with plus)."""
    first: FrameNumber | None = None
    """File number on the first of these frames; default: the lowest number present (clips: 0)."""
    every: Annotated[int, Field(ge=1, le=1000, strict=True)] = 1
    """How many shot frames a picture stands: 2 shows each one twice."""
    step: Annotated[int, Field(ge=1, le=1000, strict=True)] = 1
    """Every how many file numbers one counts: 2 leaves out every second one."""
    beyond: Literal["refuse", "hold", "loop"] = "refuse"
    """What follows the last file: the job is refused, the last one stands, or it begins again
    with `first`."""
    softness: Annotated[float, Field(ge=0, le=64, allow_inf_nan=False)] = 0.0
    """Standard deviation of the Gaussian it is softened by, pixels of the reference picture."""
    holdout: Name | None = None
    """Matte that keeps it out where it is 1: what stands before it."""

    def start(self, shot_first: int) -> int:
        """Return the shot frame that shows `first`."""
        return shot_first

    def number(self, frame: int, *, shot_first: int, first: int, last: int | None = None) -> int:
        """Return the file number on a shot frame.

        Parameters
        ----------
        frame : int
            Shot frame, not before the start.
        shot_first : int
            First frame of the shot.
        first : int
            `first`, resolved.
        last : int, optional
            Highest number present; None for one still, which answers every number.

        Returns
        -------
        int
            With ``beyond: refuse`` it may lie above `last`.
        """
        passed = max(0, frame - self.start(shot_first)) // self.every
        if last is not None and last >= first:
            steps = (last - first) // self.step
            if self.beyond == "hold":
                passed = min(passed, steps)
            elif self.beyond == "loop":
                passed %= steps + 1
        return first + passed * self.step
