"""What a person should know of the drift of a pass, in sentences."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.drift.series import Series
from glimsum_workers.engine.drift.track import Step

Numbers = NDArray[np.float64]

MOST_ALARM = 3.0
"""Alarm of a registration above which the camera changed its place, not only its direction.

Half a millimetre sideways gives 4 in the reference light; quiet passes 1.1 to 2.3 in any."""
_ALARMED_SHARE = 1 / 3
_LEAST_GROWTH_PX = 0.05
_SURE_SIGMAS = 5.0
_LEAST_FRAMES = 4


def tell_steps(steps: Sequence[Step]) -> list[str]:
    """Return a sentence for each knock."""
    return [
        f"The camera was knocked before frame {step.frame}: the picture jumped by "
        f"{step.dx:+.2f} px across and {step.dy:+.2f} px down (sigma {step.sigma:.2f} px). "
        "Frames before and after are corrected apart."
        for step in steps
    ]


def tell_growth(series: Series) -> list[str]:
    """Return a sentence if the scale of the picture changes slowly, as by warmth, or none.

    It is told if the straight line through the scale of the known frames moves the corner by
    0.05 px over the shot, and by 5 of its own standard errors.
    """
    known = series.only_known()
    if len(known.frames) < _LEAST_FRAMES:
        return []
    growth = (known.values[:, 2] + known.values[:, 5]) / 2
    at = np.array(known.frames, dtype=np.float64)
    weight = known.sigma[:, 2] ** -2
    at -= np.average(at, weights=weight)
    power = float(np.sum(weight * at**2))
    slope = float(np.sum(weight * at * growth)) / power
    left = growth - np.average(growth, weights=weight) - slope * at
    # The scatter of the frames says how sure the slope is; their sigmas hold common errors.
    scatter = float(np.sum(weight * left**2)) / np.sum(weight) * len(at) / (len(at) - 2)
    error = np.sqrt(scatter * np.sum(weight) / len(at) / power)
    whole = slope * float(np.ptp(at))
    if abs(whole) < _LEAST_GROWTH_PX or abs(slope) < _SURE_SIGMAS * error:
        return []
    way = "grows" if whole > 0 else "shrinks"
    return [
        f"The picture slowly {way} over the shot, by {abs(whole):.2f} px in the corner between "
        f"frames {known.frames[0]} and {known.frames[-1]}, as a rig or lens does that warms up. "
        "It is corrected; let the rig warm up before the first pass."
    ]


def tell_parallax(frames: Sequence[int], alarm: Numbers) -> list[str]:
    """Return a sentence if a third of the frames can't be brought to fit by one motion, or none."""
    loud = np.flatnonzero(alarm > MOST_ALARM)
    measured = int(np.count_nonzero(alarm > 0))
    if measured == 0 or len(loud) < _ALARMED_SHARE * measured:
        return []
    worst = int(loud[np.argmax(alarm[loud])])
    return [
        f"The camera stood elsewhere in this pass: near and far parts are displaced differently on "
        f"{len(loud)} of {measured} frames (alarm {alarm[worst]:.0f} on frame {frames[worst]}, "
        f"at most {MOST_ALARM:.0f} expected). No shift, rotation or scale can correct that: "
        "plan a retake of the pass from the place of the reference."
    ]


def tell_doubt(frames: Sequence[int], trusted: NDArray[np.bool_], sigma_px: Numbers) -> list[str]:
    """Return a sentence that names the frames whose drift isn't trusted, or none."""
    doubtful = np.flatnonzero(~trusted)
    if len(doubtful) == 0:
        return []
    named = ", ".join(str(frames[each]) for each in doubtful[:8])
    if len(doubtful) > 8:
        named += " and more"
    worst = float(sigma_px[doubtful].max())
    known = f"known to {worst:.2f} px at worst" if np.isfinite(worst) else "not known at all"
    return [
        f"The drift is {known}, 0.3 wanted, on {len(doubtful)} of {len(frames)} frames: {named}. "
        "Compare them with the reference before you rely on them."
    ]
