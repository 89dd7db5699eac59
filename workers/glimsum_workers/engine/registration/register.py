"""From two prepared pictures to the motion between them, and whether it can be trusted."""

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.motion import STILL, Registration
from glimsum_workers.engine.nearness import Nearness
from glimsum_workers.engine.registration.certainty import (
    Doubt,
    contradiction_px,
    find_doubt,
)
from glimsum_workers.engine.registration.coarse import Coarse, search_shift
from glimsum_workers.engine.registration.levels import LEAST_SHARE, Fitted, fit_levels
from glimsum_workers.engine.registration.models import Model, as_motion
from glimsum_workers.engine.registration.one_way import find_one_way
from glimsum_workers.engine.registration.opinions import weigh_opinions
from glimsum_workers.engine.registration.phase import correlate_phases
from glimsum_workers.engine.registration.prepared import Prepared
from glimsum_workers.engine.registration.refine import Refined, half_diagonal

MOST_SIGMA_PX = 0.3
"""Above this a motion isn't trusted."""
_SURE_PEAK = 9.0
"""Unrelated pictures and noise reach 3 to 5 (measured)."""
_LEAST_TILES = 12.0
_MOST_LIKE = 0.5
"""Height of a second peak over the first; without a repeating pattern up to 0.3 (measured)."""


def register(
    reference: Prepared,
    moving: Prepared,
    *,
    model: Model = "similarity",
    same_light: bool = False,
    nearness: Nearness | None = None,
) -> Registration:
    """Find the motion from a reference picture to a pass, whatever light each was shot in.

    Parameters
    ----------
    reference, moving : Prepared
        From `prepared.prepare`, same size and band (`bands.band_for` says which). Shifts up to
        96 pixels (a third of a small picture), rotations up to about 0.5 degrees and scales
        within about 1 % are found.
    model : Model
        `similarity` unless there is reason for another. A model whose corners are not known to
        0.1 pixel gives way to the next simpler one.
    same_light : bool
        True where both pictures were lit alike: then the doubt that light itself moves edges is
        left out of the sigma. Tiles that contradict each other by more than their noise still
        widen it, by up to 0.06 pixel.
    nearness : Nearness, optional
        Of the reference, for the model `field`: parallax in proportion to it is found too. A
        similarity is found where it isn't given or can't be used.

    Returns
    -------
    Registration
        Measured on 960 x 540 pixels: across lights 0.01 to 0.1 pixel, in the same light below
        0.01. Where nothing can be found the motion is the best guess (none, if there is no guess),
        `trusted` is False and `reason` says why.

    Raises
    ------
    LightError
        If the two pictures differ in size or hold different detail.

    Notes
    -----
    A polarity-free correlation finds the shift to a pixel; then, level by level, tiles of
    16 x 16 pixels each say how they are displaced, gain (of either sign) and noise of each let go,
    and a robust least squares over the tiles gives the motion and, from how neighbourhoods differ,
    its sigma. Coarser levels and a correlation of whitened spectra are asked for their opinion:
    it widens the sigma, and where both contradict beyond chance the spectra are followed. Light
    from one side on grooves that are painted dark moves what all methods see, by 0.2 to 0.5 pixel
    at worst: only an alignment frame in the reference light helps against it.

    References
    ----------
    Baker & Matthews 2004, Lucas-Kanade 20 years on, doi 10.1023/B:VISI.0000011205.11775.fd.
    Robinson & Milanfar 2004, doi 10.1109/TIP.2004.832923 (bounds on registration).
    """
    if reference.size != moving.size:
        raise LightError(
            "The two pictures to be registered differ in size",
            seen=f"{moving.size[1]} x {moving.size[0]} pixels",
            expected=f"{reference.size[1]} x {reference.size[0]} as the reference",
            remedy="Scale the pass to the size of the reference first.",
        )
    if reference.detail != moving.detail:
        raise LightError(
            "The two pictures to be registered hold different detail",
            seen=f"a mean with a last box of {moving.detail.last_box} pixels taken off",
            expected=f"{reference.detail.last_box} pixels as the reference",
            remedy="Prepare both with the same band.",
        )
    if model == "field" and (nearness is None or nearness.reason):
        model, nearness = "similarity", None
    coarse = search_shift(reference.levels[-1], moving.levels[-1])
    fitted = fit_levels(reference, moving, coarse, model, nearness)
    if fitted is None:
        why = "the pictures have no detail in common: too flat, too dark or too different"
        return _unknown(why)
    if same_light:
        doubt_px = contradiction_px(fitted.refined)
    else:
        fitted, doubt_px = _hear_others(reference, moving, fitted)
    refined = fitted.refined
    doubt = find_doubt(refined, fitted.model, reference.size, doubt_px)
    reason = _objection(coarse, refined, doubt)
    return Registration(
        motion=as_motion(fitted.model, refined.parameters, half_diagonal(reference.size)),
        sigma_px=doubt.sigma_px,
        corner_sigma_px=doubt.corner_sigma_px,
        trusted=not reason,
        alarm=refined.step.alarm,
        tiles=_plot_rows(refined, reference.size),
        reason=reason,
        parallax_sigma_px=doubt.parallax_sigma_px,
        parallax_pull=_pull(refined.step.matrix) if fitted.model == "field" else (0.0,) * 8,
    )


def _hear_others(reference: Prepared, moving: Prepared, fitted: Fitted) -> tuple[Fitted, float]:
    """Return the fit as other levels and the spectra leave it, and the doubt that stays."""
    refined = fitted.refined
    shift = float(refined.parameters[0]), float(refined.parameters[1])
    weighed = weigh_opinions(
        fitted.opinion(),
        fitted.coarser,
        correlate_phases(reference, moving, shift),
        refined.step.misfit * refined.factor,
    )
    return fitted.moved_to(weighed.shift), weighed.doubt_px


def _pull(matrix: NDArray[np.float64]) -> tuple[float, ...]:
    """Return how the least squares answers, parameter by parameter, to a parallax held elsewhere.

    The parameters of a similarity come first in `matrix`, the two of the parallax last.
    """
    answer = -np.linalg.solve(matrix[:4, :4], matrix[:4, 4:])
    return tuple(float(each) for each in answer.T.ravel())


def _objection(coarse: Coarse, refined: Refined, doubt: Doubt) -> str:
    """Return why the motion isn't to be trusted, or nothing."""
    if coarse.peak < _SURE_PEAK:
        return (
            f"the edges of the two pictures agree too little: peak {coarse.peak:.1f} sigma, "
            f"at least {_SURE_PEAK:.0f} wanted"
        )
    if coarse.likeness > _MOST_LIKE:
        return (
            f"a pattern repeats: moved by {coarse.also_dx:.0f}, {coarse.also_dy:.0f} px more, the "
            f"pictures agree {coarse.likeness:.2f} times as well, at most {_MOST_LIKE} wanted"
        )
    told = float(np.sum(refined.step.weights > 0.05))
    if told < _LEAST_TILES:
        return (
            f"only {told:.0f} tiles of the picture show detail that both pictures share, "
            f"at least {_LEAST_TILES:.0f} wanted"
        )
    if refined.share < LEAST_SHARE:
        return (
            f"only {100 * refined.share:.0f} % of the tiles show detail that both pictures share, "
            f"at least {100 * LEAST_SHARE:.0f} % wanted"
        )
    one_way = find_one_way(refined.told)
    if one_way or doubt.sigma_px <= MOST_SIGMA_PX:
        return one_way
    return f"the shift is known to {doubt.sigma_px:.2f} px only, {MOST_SIGMA_PX} wanted"


def _plot_rows(refined: Refined, size: tuple[int, int]) -> NDArray[np.float32]:
    centre = np.array([size[1] / 2, size[0] / 2])
    left = refined.step.residuals * refined.factor
    rows = [refined.places + centre, left, refined.step.weights[:, None]]
    return np.concatenate(rows, axis=1).astype(np.float32)


def _unknown(reason: str) -> Registration:
    none: NDArray[np.float32] = np.zeros((0, 5), dtype=np.float32)
    return Registration(STILL, np.inf, np.inf, trusted=False, alarm=0.0, tiles=none, reason=reason)
