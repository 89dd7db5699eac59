"""From a coarse shift to a motion: finer and finer levels, more and more freedom."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.nearness import Nearness
from glimsum_workers.engine.registration.models import Model, model_basis
from glimsum_workers.engine.registration.one_way import Told
from glimsum_workers.engine.registration.prepared import Level, Prepared
from glimsum_workers.engine.registration.solve import Step, solve_step
from glimsum_workers.engine.registration.tile_fit import fit_tiles
from glimsum_workers.engine.registration.tile_sums import TILE, TileSums, sum_tiles, tile_centres

Numbers = NDArray[np.float64]

_GROUPS = (6, 8)
"""Rows and columns of neighbourhoods."""
_TURNS = 8
_NEAR = 0.1
"""A change, pixels of the level, after which outliers are taken to be the same. Of fewer tiles than
are ever trusted another turn may come to others."""
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
    told : Told
        What the last step was made from.
    """

    parameters: Numbers
    step: Step
    places: Numbers
    factor: int
    share: float
    told: Told


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
    about = _look_about(pair, freedom, parameters)
    robust = np.ones(len(about.groups))
    for _ in range(_TURNS):
        displacement = about.moved_by(parameters)
        if found is not None and np.abs(displacement - about.sums.offsets).max(initial=0.0) > 1.0:
            about = _look_about(pair, freedom, parameters)
            displacement, robust = about.moved_by(parameters), np.ones(len(about.groups))
        fit = fit_tiles(about.sums, displacement, reference.detail)
        kept, misfit = fit.kept, found.step.misfit if found else 0.0
        step = solve_step(fit, about.basis[kept], about.groups[kept], misfit, robust[kept])
        if step is None:
            return None
        robust[:] = 1
        if np.abs(step.change).max() < _NEAR:
            robust[kept] = step.robust
        # Half a pixel at a time: beyond, the slope of the likelihood says little.
        parameters = parameters + np.clip(step.change, -0.5, 0.5) * still.factor
        places = about.sums.centres[kept] * still.factor
        share = len(kept) / max(len(about.groups), 1)
        told = Told(about.sums, displacement, fit, step.robust)
        found = Refined(parameters, step, places, still.factor, share, told)
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


@dataclass(frozen=True)
class _About:
    """Sums over n tiles about where a motion puts them, pixels of a level.

    `basis` (n, 2, parameters) is how they move with the parameters, `groups` (n) the number of
    the neighbourhood of each.
    """

    sums: TileSums
    basis: Numbers
    groups: NDArray[np.intp]
    factor: int

    def moved_by(self, parameters: Numbers) -> Numbers:
        """Return dx, dy of the tiles, (n, 2)."""
        return _move(self.basis, parameters, self.factor)


def _move(basis: Numbers, parameters: Numbers, factor: int) -> Numbers:
    moved = basis.reshape(-1, parameters.size) @ (parameters / factor)
    return np.asarray(moved.reshape(-1, 2), dtype=np.float64)


def _look_about(pair: tuple[Level, Level], freedom: _Freedom, parameters: Numbers) -> _About:
    """Sum over the tiles about where the parameters put them."""
    still, other = pair
    grid = tile_centres((still.band.shape[0], still.band.shape[1]))
    basis = freedom.basis(grid.reshape(-1, 2), still.factor)
    expected = _move(basis, parameters, still.factor)
    sums = sum_tiles(still, other, expected.reshape(grid.shape))
    groups = _neighbourhoods(sums.centres, still)
    return _About(sums, freedom.basis(sums.centres, still.factor), groups, still.factor)


def _neighbourhoods(centres: Numbers, level: Level) -> NDArray[np.intp]:
    height, width = level.band.shape
    rows, columns = _GROUPS
    row = np.floor((centres[:, 1] / height + 0.5) * rows).clip(0, rows - 1)
    column = np.floor((centres[:, 0] / width + 0.5) * columns).clip(0, columns - 1)
    return np.asarray(row * columns + column, dtype=np.intp)
