"""From a coarse shift down the levels, to the finest on which enough tiles tell something."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.nearness import Nearness
from glimsum_workers.engine.registration.certainty import find_doubt
from glimsum_workers.engine.registration.coarse import Coarse
from glimsum_workers.engine.registration.models import PARAMETERS, Model, widen_model
from glimsum_workers.engine.registration.opinions import Opinion
from glimsum_workers.engine.registration.prepared import Prepared
from glimsum_workers.engine.registration.refine import Refined, refine_level

LEAST_SHARE = 0.15
"""Of tiles that tell something; up to 0.09 do by chance (noise against noise, measured)."""
_MOST_CORNER_PX = 0.1
"""Above this (one sigma, without the doubt about the light) rotation and scale are not taken."""
_MOST_PARALLAX_PX = 0.3
"""Above this (one sigma) parallax isn't sought; below, a shot's frames settle it together."""
_COARSE_ERROR = 0.25
"""Of the search, pixels of its level (measured)."""

_SIMPLER: dict[Model, Model] = {
    "affine": "similarity",
    "field": "similarity",
    "similarity": "shift",
}


@dataclass(frozen=True)
class Fitted:
    """A fit on one level.

    Attributes
    ----------
    refined : Refined
        What the tiles want.
    model : Model
        Its model.
    coarser : tuple of Opinion
        What coarser levels say, the next one first; at least one.
    """

    refined: Refined
    model: Model
    coarser: tuple[Opinion, ...]

    def is_told(self) -> bool:
        """Return whether clearly more tiles tell something than would by chance."""
        return self.refined.share >= LEAST_SHARE

    def opinion(self) -> Opinion:
        """Return the shift of the level and how its neighbourhoods differ about it."""
        refined = self.refined
        variance = np.diag(refined.step.covariance)[:2] * refined.factor**2
        return Opinion(refined.parameters[:2], np.asarray(variance, dtype=np.float64))

    def moved_to(self, shift: NDArray[np.float64]) -> "Fitted":
        """Return the fit with another shift; residuals are what is left against it."""
        refined = self.refined
        by = shift - refined.parameters[:2]
        residuals = refined.step.residuals - by / refined.factor
        parameters = np.concatenate([shift, refined.parameters[2:]])
        step = replace(refined.step, residuals=residuals)
        return replace(self, refined=replace(refined, parameters=parameters, step=step))


def fit_levels(
    reference: Prepared,
    moving: Prepared,
    coarse: Coarse,
    model: Model,
    nearness: Nearness | None,
) -> Fitted | None:
    """Fit a model level by level, each starting from the one before.

    Parameters
    ----------
    reference, moving : Prepared
        Same size.
    coarse : Coarse
        Where the coarsest level starts; it is bound to a shift where there are finer ones.
    model : Model
        Gives way to the next simpler one where tiles can't settle it.
    nearness : Nearness or None
        Of the reference, for the model `field`.

    Returns
    -------
    Fitted or None
        The finest fit that enough tiles tell of, else the finest; None where no level has one.
    """
    last, start = len(reference.levels) - 1, np.array([coarse.dx, coarse.dy])
    guess = (_COARSE_ERROR * reference.levels[last].factor) ** 2
    parameters: NDArray[np.float64] = start
    heard: tuple[Opinion, ...] = (Opinion(start, np.full(2, guess)),)
    fits = list[Fitted]()
    for number in range(last, -1, -1):
        freedom: Model = "shift" if number == last and last > 0 else model
        found = _fit_level(reference, moving, number, freedom, parameters, nearness=nearness)
        if found is not None:
            fits.append(Fitted(found[0], found[1], heard))
            # Tiles that agree by chance must not lead away from what a coarser level saw.
            if fits[-1].is_told() or not any(each.is_told() for each in fits):
                parameters = found[0].parameters
                heard = (fits[-1].opinion(), *heard)
    told = [each for each in fits if each.is_told()] or fits
    return told[-1] if told else None


def _fit_level(
    reference: Prepared,
    moving: Prepared,
    number: int,
    model: Model,
    start: NDArray[np.float64],
    *,
    nearness: Nearness | None,
) -> tuple[Refined, Model] | None:
    """Fit a model on one level, or the next simpler one that the tiles can settle."""
    trial: Model | None = model
    while trial is not None:
        fits = len(start) == PARAMETERS[trial]
        first = start if fits else widen_model(start, trial)
        found = refine_level(reference, moving, number, trial, first, nearness=nearness)
        simplest = trial == "shift"
        if found is not None and (simplest or not _too_free(found, trial, reference.size)):
            return found, trial
        trial = _SIMPLER.get(trial)
    return None


def _too_free(found: Refined, model: Model, size: tuple[int, int]) -> bool:
    plain = find_doubt(found, model, size)
    if model == "field" and not plain.parallax_sigma_px <= _MOST_PARALLAX_PX:
        return True
    return plain.corner_sigma_px > _MOST_CORNER_PX
