"""From a coarse shift to a motion: finer and finer levels, more and more freedom."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.nearness import Nearness
from glimsum_workers.engine.registration.models import Model, model_basis
from glimsum_workers.engine.registration.prepared import Level, Prepared
from glimsum_workers.engine.registration.solve import Step, solve_step
from glimsum_workers.engine.registration.tile_fit import fit_tiles
from glimsum_workers.engine.registration.tile_sums import TILE, TileSums, sum_tiles, tile_centres

Numbers = NDArray[np.float64]

_GROUPS = (6, 8)
"""Rows and columns of neighbourhoods."""
_TURNS = 8
_CLOSE_ENOUGH = (2e-3, 0.01, 0.03)
"""Pixels of the level, finest first: a coarse one only has to lead to the next."""


@dataclass(frozen=True)
class Refined:
    """Where the refinement stands.

    Attributes
    ----------
    parameters : float64 array, (parameters,)
        Of the model, pixels of the full size.
    step : Step
        The last one, in pixels of `factor`.
    places : float64 array, (n, 2)
        Centres of its tiles from the picture's centre, pixels of the full size.
    factor : int
        Pixels of the full size to one of the level it was made on.
    share : float
        Tiles that say anything, 0..1 of those looked at.
    """

    parameters: Numbers
    step: Step
    places: Numbers
    factor: int
    share: float


def half_diagonal(size: tuple[int, int]) -> float:
    """Return the distance of a corner of a picture from its centre, pixels."""
    return float(np.hypot(*size)) / 2


def refine_level(
    reference: Prepared,
    moving: Prepared,
    number: int,
    model: Model,
    start: Numbers,
    *,
    nearness: Nearness | None = None,
) -> Refined | None:
    """Bring the parameters of a model to where the tiles of one level want them.

    Parameters
    ----------
    reference, moving : Prepared
        Same size.
    number : int
        Which level, 0 the finest.
    model : Model
    start : float64 array, (parameters,)
        Within a pixel of the level of the truth everywhere, in pixels of the full size.
    nearness : Nearness, optional
        Of the reference, for the model `field`.

    Returns
    -------
    Refined or None
        None where the tiles can't settle the model.
    """
    pair = reference.levels[number], moving.levels[number]
    still, reach = pair[0], half_diagonal(reference.size)
    parameters, found = start.copy(), None
    freedom = _Freedom(model, reach, nearness)
    sums, basis = _sum_about(pair, freedom, parameters)
    for _ in range(_TURNS):
        displacement = basis @ parameters / still.factor
        if found is not None and np.abs(displacement - sums.offsets).max(initial=0.0) > 1.0:
            sums, basis = _sum_about(pair, freedom, parameters)
            displacement = basis @ parameters / still.factor
        fit = fit_tiles(sums, displacement, reference.detail)
        groups = _neighbourhoods(sums.centres[fit.kept], still)
        step = solve_step(fit, basis[fit.kept], groups, found.step.misfit if found else 0.0)
        if step is None:
            return None
        # Half a pixel at a time: beyond, the slope of the likelihood says little.
        parameters = parameters + np.clip(step.change, -0.5, 0.5) * still.factor
        places = sums.centres[fit.kept] * still.factor
        share = len(fit.kept) / max(len(sums.count), 1)
        found = Refined(parameters, step, places, still.factor, share)
        if np.abs(step.change).max() < _CLOSE_ENOUGH[min(number, 2)]:
            break
    return found


@dataclass(frozen=True)
class _Freedom:
    """How tiles may move: a model, its half diagonal in pixels, and how near things are."""

    model: Model
    reach: float
    nearness: Nearness | None

    def basis(self, centres: Numbers, factor: int) -> Numbers:
        """Return how tiles (n, 2), pixels of a level from the centre, move with the parameters."""
        places = centres * factor
        near = None if self.nearness is None else self.nearness.over(places, TILE * factor)
        return model_basis(self.model, places / self.reach, near)


def _sum_about(
    pair: tuple[Level, Level], freedom: _Freedom, parameters: Numbers
) -> tuple[TileSums, Numbers]:
    """Return the sums about where the parameters put the tiles, and the basis of those tiles."""
    still, other = pair
    grid = tile_centres((still.band.shape[0], still.band.shape[1]))
    basis = freedom.basis(grid.reshape(-1, 2), still.factor)
    expected = basis @ parameters / still.factor
    sums = sum_tiles(still, other, expected.reshape(grid.shape))
    return sums, freedom.basis(sums.centres, still.factor)


def _neighbourhoods(centres: Numbers, level: Level) -> NDArray[np.intp]:
    height, width = level.band.shape
    rows, columns = _GROUPS
    row = np.floor((centres[:, 1] / height + 0.5) * rows).clip(0, rows - 1)
    column = np.floor((centres[:, 0] / width + 0.5) * columns).clip(0, columns - 1)
    return np.asarray(row * columns + column, dtype=np.intp)
