"""The drift of a pass whose camera stands: tracked in its own light, placed by one constant."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.drift.chain import fill_gaps
from glimsum_workers.engine.drift.constant import (
    Constant,
    borrow_constant,
    chain_motions,
    find_constant,
)
from glimsum_workers.engine.drift.laying import alarms_of, lay_track
from glimsum_workers.engine.drift.remarks import tell_growth
from glimsum_workers.engine.drift.series import Series, any_affine, as_motion, as_row, as_series
from glimsum_workers.engine.drift.settle import settle
from glimsum_workers.engine.drift.steps import find_steps
from glimsum_workers.engine.drift.track import Source, Track
from glimsum_workers.engine.motion import STILL, Affine, Registration

Numbers = NDArray[np.float64]

_LEAST_SIGMA_PX = 0.001
_LEAST_STEP_PX = 0.01
"""How far a standing camera may creep from frame to frame where no frame was measured."""


def solve_reference(
    own: Mapping[int, Registration],
    *,
    hold: int,
    size: tuple[int, int],
    frames: Sequence[int] | None = None,
) -> Track:
    """Solve for the drift of the reference itself, whose camera stands.

    Parameters
    ----------
    own : mapping of int to Registration
        From the hold frame of the reference to each other frame of it, in the same light.
    hold : int
        The frame that everything goes on to; must not be left out of `frames`.
    size : tuple of int
        (height, width) of the picture, pixels.
    frames : sequence of int, optional
        Frames of the shot, rising; those of `own` and the hold frame where not given.

    Returns
    -------
    Track
        From the hold frame to each frame. Where the reference was knocked this brings its frames
        back to the hold frame, so that the knock doesn't show.

    Raises
    ------
    ValueError
        If the hold frame is not among the frames.
    """
    listed = _frames(frames, {hold: None, **own})
    inside = _track_inside(listed, own, hold, size)
    constant = Constant(STILL, np.zeros(6), "same light")
    return _place(inside, constant, own, own, size, affine=any_affine(own), anchor=hold)


def solve_locked(
    cross: Mapping[int, Registration],
    own: Mapping[int, Registration],
    *,
    best: int,
    size: tuple[int, int],
    frames: Sequence[int] | None = None,
    neighbours: Mapping[str, Track] | None = None,
) -> Track:
    """Solve for the drift of a pass whose camera stands, and that of the reference too.

    Parameters
    ----------
    cross : mapping of int to Registration
        From the hold frame of the reference to frames of the pass. One frame will do; more make
        the constant surer.
    own : mapping of int to Registration
        From the best frame of the pass to its other frames, in the same light.
    best : int
        Frame of the pass with most light and detail.
    size : tuple of int
        (height, width) of the picture, pixels.
    frames : sequence of int, optional
        Frames of the shot, rising; those of `cross` and `own` where not given.
    neighbours : mapping of str to Track, optional
        Other passes of the shot, for a pass that has nothing in common with the reference.

    Returns
    -------
    Track
        From the hold frame of the reference to each frame of the pass.

    Raises
    ------
    ValueError
        If the best frame is not among the frames.

    Notes
    -----
    A frame's motion is its own track within the pass, accurate to some 0.003 px, after one
    constant: the biweight mean, over the frames that are trusted both ways, of what `cross` has
    beyond `own`. Errors of other light are the same on each frame, so averaging doesn't lessen
    the sigma of the constant. A frame that can't be tracked inside the pass keeps its own
    `cross`; one that has neither lies between its neighbours in time, with a larger sigma.
    Knocks are found in the own track (see `drift_steps.find_steps`).
    """
    listed = _frames(frames, {best: None, **cross, **own})
    affine = any_affine(cross) or any_affine(own)
    tracked = own if any(_is_known(own, best, each) for each in _trusted(cross)) else {}
    if not tracked and _trusted(cross):
        best = min(_trusted(cross), key=lambda each: cross[each].sigma_px)
    inside = _track_inside(listed, own if not _trusted(cross) else tracked, best, size)
    constant = find_constant(inside.series, cross, size, affine=affine)
    if constant is None:
        constant = borrow_constant(inside.series, neighbours or {}, size, affine=affine)
    else:
        inside = _add_measured(inside, constant, cross, size)
    return _place(inside, constant, own, cross, size, affine=affine)


@dataclass(frozen=True)
class _Inside:
    """Motions from the best frame to the others, and where each comes from."""

    series: Series
    sources: tuple[Source, ...]


def _frames(frames: Sequence[int] | None, used: Mapping[int, object]) -> tuple[int, ...]:
    return tuple(sorted(used) if frames is None else frames)


def _trusted(registrations: Mapping[int, Registration]) -> list[int]:
    return [frame for frame, found in registrations.items() if found.trusted]


def _is_known(own: Mapping[int, Registration], best: int, frame: int) -> bool:
    return frame == best or (frame in own and own[frame].trusted)


def _track_inside(
    frames: Sequence[int], own: Mapping[int, Registration], best: int, size: tuple[int, int]
) -> _Inside:
    if best not in frames:
        raise ValueError(f"frame {best}, that others are compared with, is not in {tuple(frames)}")
    series = as_series(frames, own, size)
    at = frames.index(best)
    series.values[at], series.sigma[at], series.known[at] = 0.0, _LEAST_SIGMA_PX, True
    sources: list[Source] = ["same light" if known else "interpolated" for known in series.known]
    return _Inside(series, tuple(sources))


def _add_measured(
    inside: _Inside, constant: Constant, cross: Mapping[int, Registration], size: tuple[int, int]
) -> _Inside:
    """Return the track inside with frames that were measured against the reference alone."""
    series, sources = inside.series, list(inside.sources)
    measured = as_series(series.frames, cross, size)
    values, sigma = series.values.copy(), series.sigma.copy()
    for place in np.flatnonzero(measured.known & ~series.known):
        onto = as_motion(measured.values[place], size, affine=isinstance(constant.motion, Affine))
        values[place] = as_row(chain_motions(onto, constant.motion.inverse()), size)
        sigma[place], sources[place] = measured.sigma[place], "measured"
    known = series.known | measured.known
    return _Inside(Series(series.frames, values, sigma, known), tuple(sources))


def _place(
    inside: _Inside,
    constant: Constant,
    own: Mapping[int, Registration],
    cross: Mapping[int, Registration],
    size: tuple[int, int],
    *,
    affine: bool,
    anchor: int | None = None,
) -> Track:
    """Find the knocks, fill the gaps, and put the track on the reference."""
    series = inside.series
    steps = find_steps(series, size, walks=False)
    settled = settle(series, steps)
    values, variances = fill_gaps(settled.values, settled.sigma**2, settled.known, _LEAST_STEP_PX)
    if anchor is not None:
        # The hold frame must not move at all, nor those that stand exactly where it does.
        values = values - values[series.frames.index(anchor)]
    motions = [
        chain_motions(as_motion(row, size, affine=affine), constant.motion) for row in values
    ]
    sources: tuple[Source, ...] = inside.sources
    if constant.source != "same light":
        sources = (constant.source,) * len(sources)
    rows = np.array([as_row(each, size) for each in motions])
    onto = Series(series.frames, rows, np.sqrt(variances + constant.sigma**2), settled.known)
    alarm = np.maximum(alarms_of(series.frames, cross), alarms_of(series.frames, own))
    return lay_track(onto, motions, sources, alarm, steps=steps, more=tell_growth(settled))
