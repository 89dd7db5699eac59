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
        What light from elsewhere may have moved, full pixels: see `opinions.weigh_opinions`.

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


def _worst_axis(covariance: Numbers) -> float:
    return float(np.sqrt(max(np.linalg.eigvalsh(covariance)[-1], 0.0)))
