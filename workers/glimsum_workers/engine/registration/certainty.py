"""How sure a motion is: what the tiles say, and what they can't know of."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.registration.models import Model, model_basis
from glimsum_workers.engine.registration.refine import Refined, half_diagonal

Numbers = NDArray[np.float64]

_TILES_TOO_SURE = 1.5
"""By how much errors exceed what the spread of the tiles predicts (measured)."""
_SAMPLING_PX = 0.003
"""What aliasing leaves, pixels of the level (measured)."""
_UNKNOWN_TURN = 5e-4
"""Rotation (radians) and scale that a shift may hide."""
_ALARMS = (1.5, 2.5)
"""Deviation of tiles over their noise from which their misfit counts, and at which in full: in the
same light up to 1.4, of clips whose moving pictures were predicted 2.4 to 3 (measured)."""
_MOST_CONTRADICTION_PX = 0.06
"""As much as light from elsewhere may move edges in any case."""


@dataclass(frozen=True)
class Doubt:
    """Standard errors per axis, full pixels: at the picture's centre and in its worst corner.

    That of the parallax is infinite where the model has none.
    """

    sigma_px: float
    corner_sigma_px: float
    parallax_sigma_px: float = np.inf


def find_doubt(
    refined: Refined,
    model: Model,
    size: tuple[int, int],
    light_px: float = 0.0,
) -> Doubt:
    """Widen what the tiles say of their own certainty by what they can't know of.

    Parameters
    ----------
    refined : Refined
    model : Model
    size : tuple of int
        (height, width), pixels.
    light_px : float
        What light from elsewhere may have moved, full pixels: see `opinions.weigh_opinions`; in the
        same light `contradiction_px`.

    Returns
    -------
    Doubt
        Infinite where the tiles leave a parameter open.
    """
    reach = half_diagonal(size)
    corners = np.array([[x, y] for x in (-1.0, 1.0) for y in (-1.0, 1.0)])
    corners *= [size[1] / 2 / reach, size[0] / 2 / reach]
    covariance = refined.step.covariance * refined.factor**2
    if not np.isfinite(covariance).all():
        return Doubt(np.inf, np.inf)
    spread = [
        _worst_axis(each @ covariance @ each.T)
        for each in model_basis(model, np.concatenate([np.zeros((1, 2)), corners]))
    ]
    extra = float(np.hypot(_SAMPLING_PX * refined.factor, light_px))
    centre, corner = _TILES_TOO_SURE * spread[0], _TILES_TOO_SURE * max(spread[1:])
    if model == "shift":
        corner = float(np.hypot(corner, _UNKNOWN_TURN * reach))
    near = np.inf
    if model == "field":
        near = _TILES_TOO_SURE * _worst_axis(covariance[-2:, -2:])
    return Doubt(float(np.hypot(centre, extra)), float(np.hypot(corner, extra)), near)


def contradiction_px(refined: Refined) -> float:
    """Return the error that tiles may have in common where they contradict each other.

    A clip that predicts each frame from others moves whole patches by fractions of a pixel, the
    same way all over the picture: neighbourhoods agree then, but tiles don't.

    Parameters
    ----------
    refined : Refined

    Returns
    -------
    float
        Standard deviation per axis, full pixels: the misfit of the tiles, 0 where their own noise
        (nearly) explains how they differ, at most 0.06. Measured on clips at 0.4 bits a pixel of
        a camera that moves: errors of 0.02 to 0.08 px, 0.03 to 0.05 told.
    """
    first, last = _ALARMS
    share = min(max((refined.step.alarm - first) / (last - first), 0.0), 1.0)
    return min(share * refined.step.misfit * refined.factor, _MOST_CONTRADICTION_PX)


def _worst_axis(covariance: Numbers) -> float:
    return float(np.sqrt(max(np.linalg.eigvalsh(covariance)[-1], 0.0)))
