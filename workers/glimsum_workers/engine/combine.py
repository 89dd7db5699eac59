"""One step of the recipe laid on the ground, in premultiplied scene-linear light."""

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.blends import Operator, blend_alpha, blend_channel, check_blend
from glimsum_workers.engine.codes import Image, Picture, Plane
from glimsum_workers.engine.laying import is_worth_it
from glimsum_workers.engine.resample.quick import Layer, lay_together

_STRIP_BYTES = 1 << 18
"""Source rows worked on at once: what is read, changed and added stays in a 1 MB cache."""


def lay_ground(height: int, width: int) -> Picture:
    """Return the empty ground: no light, no coverage.

    Parameters
    ----------
    height, width : int
        In pixels.

    Returns
    -------
    Picture
        Zeros, with an alpha of zeros.
    """
    return Picture(
        np.zeros((height, width, 3), dtype=np.float32), np.zeros((height, width), np.float32)
    )


def combine_step(
    ground: Picture,
    source: Picture,
    operator: Operator = "plus",
    *,
    matrix: NDArray[np.float64] | None = None,
    matte: Plane | None = None,
    refuse: bool = True,
) -> None:
    """Lay one step on `ground`, in place.

    Parameters
    ----------
    ground : Picture
        From `lay_ground`; premultiplied, scene-linear, alpha 0..1. Changed in place.
    source : Picture
        Premultiplied, scene-linear, in the working space, finite; no alpha means 1
        everywhere. Left as it is.
    operator : Operator
        Default `plus`: light added to light.
    matrix : float64 array, (3, 3), optional
        Gain and tint of the step in one: ``2**stops * tint``. Never touches alpha.
    matte : Plane, optional
        0..1; multiplies colour and alpha of the source.
    refuse : bool
        Whether `screen` and `multiply` are refused on light they are not made for.

    Raises
    ------
    LightError
        If sizes differ, the matrix is not finite, the ground has no alpha, or the operator
        refuses (`blends.check_blend`). The ground is then unchanged.

    Notes
    -----
    The formulas stand in `blends`. ``plus`` adds colour without limit and clamps alpha to 1.
    float32 throughout; against float64 the relative error of n steps is below n * 2**-22 of
    the largest sum of magnitudes.
    """
    layer = layer_of(ground, source, operator, matrix=matrix, matte=matte, refuse=refuse)
    covered = _alpha_of(ground)
    if layer is not None:
        lay_together([layer], ground.rgb)
        cover(covered, matte)
        return
    height, width = covered.shape
    rows = max(1, _STRIP_BYTES // (width * 12))
    room = np.empty((rows, width, 3), dtype=np.float32)
    for top in range(0, height, rows):
        strip = slice(top, min(top + rows, height))
        buffer = room[: strip.stop - top]
        colour = _weigh(source.rgb[strip], matrix, buffer)
        alpha = None if source.alpha is None else source.alpha[strip]
        if matte is not None:
            colour = _multiply_plane(colour, matte[strip], buffer)
            alpha = matte[strip] if alpha is None else alpha * matte[strip]
        _lay(ground.rgb[strip], covered[strip], colour, alpha, operator)


def layer_of(
    ground: Picture,
    source: Picture,
    operator: Operator = "plus",
    *,
    matrix: NDArray[np.float64] | None = None,
    matte: Plane | None = None,
    refuse: bool = True,
) -> Layer | None:
    """Return a step as what can be added together with others.

    Parameters
    ----------
    ground, source : Picture
        As for `combine_step`; nothing is laid yet.
    operator : Operator
    matrix : float64 array, (3, 3), optional
    matte : Plane, optional
    refuse : bool
        All four as for `combine_step`.

    Returns
    -------
    Layer or None
        None for a step that does more than add light without coverage of its own.

    Raises
    ------
    LightError
        As `combine_step`.
    """
    covered = _alpha_of(ground)
    for name, plane in (("source", source.rgb), ("matte", matte), ("alpha", source.alpha)):
        if plane is not None and plane.shape[:2] != covered.shape:
            raise LightError(
                f"The {name} of a step has another size than the ground",
                seen=f"{plane.shape[1]} x {plane.shape[0]} pixels",
                expected=f"{covered.shape[1]} x {covered.shape[0]} pixels",
                remedy="Resample it to the picture of the shot first.",
            )
    if matrix is not None and not np.all(np.isfinite(matrix)):
        raise LightError(
            "Gain and tint of a step are not finite", seen=str(matrix.tolist()), expected="light"
        )
    if refuse:
        check_blend(ground, source, operator, matrix)
    if operator != "plus" or source.alpha is not None or not is_worth_it(covered.shape):
        return None
    return Layer(source.rgb, after=matrix, matte=matte)


def _alpha_of(ground: Picture) -> Plane:
    if ground.alpha is None:
        raise LightError("The ground has no alpha", seen="R, G, B", expected="`lay_ground`")
    return ground.alpha


def cover(covered: Plane, matte: Plane | None) -> None:
    """Add the coverage of a step without alpha to a ground's, in place.

    Parameters
    ----------
    covered : Plane
        Coverage of the ground, 0..1. Changed in place; clamped to 1.
    matte : Plane or None
        Weights of the step, 0..1; None: 1 everywhere.
    """
    if matte is None:
        covered[...] = 1
    else:
        np.add(covered, matte, out=covered)
        np.minimum(covered, np.float32(1), out=covered)


def _lay(
    below: Image, covered: Plane, colour: Image, alpha: Plane | None, operator: Operator
) -> None:
    if operator == "plus":
        np.add(below, colour, out=below)
    elif operator == "over" and alpha is None:
        below[...] = colour
    else:
        for channel in range(3):
            below[..., channel] = blend_channel(
                operator, colour[..., channel], below[..., channel], alpha, covered
            )
    covered[...] = blend_alpha(operator, alpha, covered)


def _weigh(rgb: Image, matrix: NDArray[np.float64] | None, buffer: Image) -> Image:
    """Return `rgb` through `matrix`, in `buffer` unless there is nothing to do."""
    if matrix is None:
        return rgb
    gain = np.float32(matrix[0, 0])
    if np.array_equal(matrix, np.eye(3) * matrix[0, 0]):
        return rgb if gain == 1 else np.multiply(rgb, gain, out=buffer)
    weights = np.ascontiguousarray(matrix.T, dtype=np.float32)
    np.matmul(rgb.reshape(-1, 3), weights, out=buffer.reshape(-1, 3))
    return buffer


def _multiply_plane(rgb: Image, plane: Plane, buffer: Image) -> Image:
    for channel in range(3):
        np.multiply(rgb[..., channel], plane, out=buffer[..., channel])
    return buffer
