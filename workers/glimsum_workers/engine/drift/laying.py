"""From solved rows of numbers to the track of a pass."""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.drift.remarks import tell_doubt, tell_parallax, tell_steps
from glimsum_workers.engine.drift.series import Series
from glimsum_workers.engine.drift.track import MOST_SIGMA_PX, Source, Step, Track
from glimsum_workers.engine.motion import Affine, Motion, Registration

Numbers = NDArray[np.float64]


def alarms_of(frames: Sequence[int], registrations: Mapping[int, Registration]) -> Numbers:
    """Return the alarm of each frame's registration, 0 where there is none: float64 (n,)."""
    return np.array([registrations[each].alarm if each in registrations else 0 for each in frames])


def lay_track(
    series: Series,
    motions: Sequence[Motion | Affine],
    sources: Sequence[Source],
    alarm: Numbers,
    *,
    steps: Sequence[Step],
    more: Sequence[str],
) -> Track:
    """Lay out the track of a pass with its remarks.

    Parameters
    ----------
    series : Series
        Its sigmas are published.
    motions : sequence of Motion or Affine, n
    sources : sequence of Source, n
    alarm : float64 array, (n,)
    steps : sequence of Step
    more : sequence of str
        Remarks beyond those on knocks, parallax and doubt.

    Returns
    -------
    Track
    """
    centre, turn = series.sigma[:, 0:2].max(axis=1), series.sigma[:, 2:].max(axis=1)
    trusted: NDArray[np.bool_] = centre <= MOST_SIGMA_PX
    remarks = [
        *tell_steps(steps),
        *more,
        *tell_parallax(series.frames, alarm),
        *tell_doubt(series.frames, trusted, centre),
    ]
    return Track(
        frames=series.frames,
        motions=tuple(motions),
        sigma_px=centre,
        corner_sigma_px=np.hypot(centre, turn),
        trusted=trusted,
        alarm=alarm,
        sources=tuple(sources),
        steps=tuple(steps),
        remarks=tuple(remarks),
    )
