"""Shift, similarity, affine and field as vectors of pixels: what each does to a tile."""

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.motion import Affine, Motion

Model = Literal["shift", "similarity", "affine", "field"]

Numbers = NDArray[np.float64]

PARAMETERS: dict[Model, int] = {"shift": 2, "similarity": 4, "affine": 6, "field": 6}


def model_basis(model: Model, places: Numbers, nearness: Numbers | None = None) -> Numbers:
    """Return how tiles move with each parameter of a model.

    Parameters
    ----------
    model : Model
        `shift` has 2 parameters, `similarity` 4, `affine` 6; `field` has those of a similarity
        and parallax in x and in y.
    places : float64 array, (n, 2)
        x, y from the picture's centre over its half diagonal, so that every parameter is in pixels
        of displacement in the corner.
    nearness : float64 array, (n,), optional
        Of the places, in deviations (see `nearness.Nearness`), for `field`; 0 where not given.

    Returns
    -------
    float64 array, (n, 2, parameters)
        Displacement dx, dy for one pixel of each parameter.
    """
    x, y = places[:, 0], places[:, 1]
    one, none = np.ones_like(x), np.zeros_like(x)
    columns = [(one, none), (none, one)]
    if model in ("similarity", "field"):
        columns += [(x, y), (-y, x)]
    if model == "field":
        near = none if nearness is None else nearness
        columns += [(near, none), (none, near)]
    if model == "affine":
        columns += [(x, none), (y, none), (none, x), (none, y)]
    return np.stack([np.stack(each, axis=-1) for each in columns], axis=-1)


def widen_model(parameters: Numbers, model: Model) -> Numbers:
    """Return the parameters of a shift as those of a larger model."""
    return np.concatenate([parameters[:2], np.zeros(PARAMETERS[model] - 2)])


def as_motion(model: Model, parameters: Numbers, half_diagonal: float) -> Motion | Affine:
    """Return the motion of a parameter vector in pixels of the full size."""
    dx, dy = float(parameters[0]), float(parameters[1])
    if model == "shift":
        return Motion(dx, dy)
    rest = parameters[2:] / half_diagonal
    if model in ("similarity", "field"):
        grown, turned = 1.0 + float(rest[0]), float(rest[1])
        angle, scale = float(np.rad2deg(np.arctan2(turned, grown))), float(np.hypot(grown, turned))
        if model == "similarity":
            return Motion(dx, dy, angle, scale)
        return Motion(dx, dy, angle, scale, (float(parameters[4]), float(parameters[5])))
    xx, xy, yx, yy = (float(each) for each in rest)
    return Affine(dx, dy, ((1.0 + xx, xy), (yx, 1.0 + yy)))
