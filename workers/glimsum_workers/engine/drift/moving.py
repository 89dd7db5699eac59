"""The drift of a pass whose camera moves: measured frame by frame, helped by its neighbours."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from glimsum_workers.engine.drift.chain import fill_gaps
from glimsum_workers.engine.drift.increments import Increments, find_increments, refine_series
from glimsum_workers.engine.drift.laying import alarms_of, lay_track
from glimsum_workers.engine.drift.neighbours import borrow_series
from glimsum_workers.engine.drift.parallax import (
    RELIT_PX,
    hold_parallax,
    settle_parallax,
    with_parallax,
)
from glimsum_workers.engine.drift.remarks import tell_growth
from glimsum_workers.engine.drift.series import Series, any_affine, as_motion, as_series
from glimsum_workers.engine.drift.steps import find_steps
from glimsum_workers.engine.drift.track import Source, Track
from glimsum_workers.engine.motion import Registration

_LEAST_STEP_PX = 0.03
"""How far the drift of a moving camera is from frame to frame at least, where not measured."""


def solve_moving(
    cross: Mapping[int, Registration],
    own_steps: Mapping[int, Registration],
    reference_steps: Mapping[int, Registration],
    *,
    size: tuple[int, int],
    frames: Sequence[int] | None = None,
    neighbours: Mapping[str, Track] | None = None,
    relit_px: float = RELIT_PX,
) -> Track:
    """Solve for the drift of a pass whose camera moves.

    Parameters
    ----------
    cross : mapping of int to Registration
        From frame n of the reference to the same frame of the pass.
    own_steps, reference_steps : mapping of int to Registration
        From frame n to frame n + 1, of the pass and of the reference, each in its own light. May
        be empty.
    size : tuple of int
        (height, width) of the picture, pixels.
    frames : sequence of int, optional
        Frames of the shot, rising; those of `cross` where not given.
    neighbours : mapping of str to Track, optional
        Other passes of the shot.
    relit_px : float
        How far the light may feign parallax; 0 where an alignment frame freed the pass of it.

    Returns
    -------
    Track
        From each frame of the reference to the same frame of the pass.

    Notes
    -----
    One least squares over frames and increments (see `drift_increments`), whose errors are
    estimated from the shot itself: where increments are the surer ones they take the errors of
    single frames out, where they are not, as under strong parallax, nothing changes. Frames not
    trusted lie between those that are, with a sigma that grows with the distance, or follow the
    mean of other passes where that is surer.
    """
    listed = tuple(sorted(cross) if frames is None else frames)
    parallax = settle_parallax(listed, cross, relit_px=relit_px)
    if parallax.measured:
        at = dict(zip(listed, parallax.values, strict=True))
        cross = {n: hold_parallax(each, at[n], size) for n, each in cross.items() if n in at}
    measured = as_series(listed, cross, size)
    increments = find_increments(measured, own_steps, reference_steps, size)
    refined = refine_series(measured, increments)
    filled, sources = _fill(refined, increments, neighbours or {}, size)
    affine = any_affine(cross)
    motions = [
        with_parallax(as_motion(row, size, affine=affine), near)
        for row, near in zip(filled.values, parallax.values, strict=True)
    ]
    steps = find_steps(_scatter_only(refined, increments), size, walks=True)
    track = lay_track(
        filled,
        motions,
        sources,
        alarms_of(listed, cross),
        steps=steps,
        more=tell_growth(measured),
    )
    return replace(track, parallax_sigma_px=parallax.sigma_px if parallax.measured else None)


def _fill(
    refined: Series,
    increments: Increments,
    neighbours: Mapping[str, Track],
    size: tuple[int, int],
) -> tuple[Series, tuple[Source, ...]]:
    """Return a value for each frame, by time or from other passes, whichever is surer."""
    values, sigma = refined.values.copy(), refined.sigma.copy()
    sources: list[Source] = ["measured" if each else "still" for each in refined.known]
    if refined.known.any():
        values, variances = fill_gaps(
            values,
            sigma**2,
            refined.known,
            _LEAST_STEP_PX,
            steps=increments.steps,
            step_variances=increments.variances,
        )
        sigma = np.sqrt(variances)
        sources = ["measured" if each else "interpolated" for each in refined.known]
    theirs = borrow_series(refined.frames, neighbours, size)
    for place in np.flatnonzero(~refined.known & theirs.known):
        if theirs.sigma[place, 0] < sigma[place, 0]:
            values[place], sigma[place] = theirs.values[place], theirs.sigma[place]
            sources[place] = "neighbours"
    return Series(refined.frames, values, sigma, refined.known), tuple(sources)


def _scatter_only(refined: Series, increments: Increments) -> Series:
    """Return the series with the error that frames don't share as its sigma."""
    sigma = np.maximum(np.sqrt(increments.frame_variance), 0.003)
    return Series(
        refined.frames,
        refined.values,
        np.where(refined.known[:, None], np.minimum(refined.sigma, sigma), np.inf),
        refined.known,
    )
