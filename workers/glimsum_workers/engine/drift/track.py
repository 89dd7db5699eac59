"""The drift of one pass over a whole shot: what each frame needs, how sure, and what happened."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.motion import Affine, Motion

MOST_SIGMA_PX = 0.3
"""Above this the drift of a frame isn't trusted."""
_STEADY_SIGMAS = 2.0

Numbers = NDArray[np.float64]

Source = Literal["measured", "same light", "neighbours", "interpolated", "still"]
"""Where the drift of a frame comes from.

measured: against the reference, in other light. same light: tracked inside the pass. neighbours:
other passes of the shot. interpolated: frames of the pass on both sides, or the nearest one.
still: nothing is known.
"""


@dataclass(frozen=True)
class Step:
    """A knock of the camera.

    Attributes
    ----------
    frame : int
        The first frame that shows it: the camera was knocked before this frame. Where the frames
        just before were not measured it may have been earlier, among those.
    dx, dy : float
        By how much the drift at the picture's centre jumped, pixels.
    rotation_deg : float
        By how much the rotation jumped, degrees, positive from x to y.
    scale : float
        Magnification after over before.
    sigma : float
        Standard error of dx and of dy, pixels.
    """

    frame: int
    dx: float
    dy: float
    rotation_deg: float
    scale: float
    sigma: float


@dataclass(frozen=True)
class Track:
    """The drift of one pass over a shot; sequences run along `frames`.

    Attributes
    ----------
    frames : tuple of int
        Frames of the shot, rising.
    motions : tuple of Motion or Affine
        Map a point of the reference (locked camera: of its hold frame) to where the pass shows it.
    sigma_px : float64 array, (n,)
        Standard error of the shift per axis at the picture's centre, pixels; infinite where
        nothing is known.
    corner_sigma_px : float64 array, (n,)
        The same in the corner of the picture.
    trusted : bool array, (n,)
        Sigma is at most 0.3 px.
    alarm : float64 array, (n,)
        Alarm of the frame's registration against the reference (see `motion.Registration`), 0
        where there was none.
    sources : tuple of Source
    steps : tuple of Step
        Knocks of the camera, in the order of frames.
    parallax_sigma_px : float64 array, (n,), or None
        Standard error per axis of the parallax of the motions; None where none was sought.
    remarks : tuple of str
        Sentences for the report: what a person should know of this pass.
    """

    frames: tuple[int, ...]
    motions: tuple[Motion | Affine, ...]
    sigma_px: Numbers
    corner_sigma_px: Numbers
    trusted: NDArray[np.bool_]
    alarm: Numbers
    sources: tuple[Source, ...]
    steps: tuple[Step, ...] = ()
    remarks: tuple[str, ...] = ()
    parallax_sigma_px: Numbers | None = None

    def at(self, frame: int) -> Motion | Affine:
        """Return the motion of a frame; ValueError where the track doesn't hold it."""
        if frame not in self.frames:
            raise ValueError(f"frame {frame} is not in the track of {self.frames}")
        return self.motions[self.frames.index(frame)]

    @property
    def steady_from(self) -> int | None:
        """Return the first frame from which the drift stays the same, or None where it never does.

        From there on no knock was found, and each trusted frame lies within twice its sigma of
        the weighted mean of all that follow it, in dx and in dy. A camera that settles in the
        last frame alone is not known to stand.
        """
        known = np.flatnonzero(self.trusted)
        if len(known) == 0:
            return None
        shifts = np.array([[each.dx, each.dy] for each in self.motions]).reshape(-1, 2)
        knocked = max((step.frame for step in self.steps), default=self.frames[0])
        for place in range(len(known) - 1):
            first = self.frames[int(known[place])]
            rest = known[place:]
            mean = np.average(shifts[rest], axis=0, weights=self.sigma_px[rest] ** -2)
            off = np.abs(shifts[rest] - mean).max(axis=1)
            within = bool((off <= _STEADY_SIGMAS * self.sigma_px[rest]).all())
            if within and first >= knocked:
                return first
        return None
