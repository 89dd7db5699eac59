"""The operators of a step, on premultiplied values: what they do, and to what light."""

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.errors import LightError
from glimsum_jobs.problems import Problem, Rank
from glimsum_workers.engine.codes import Picture, Plane

Operator = Literal["plus", "over", "in", "out", "atop", "multiply", "screen", "lighten", "darken"]

NEGATIVE_NOISE = 0.01
"""Light below minus this is no noise any more (share of diffuse white; common practice)."""


def blend_channel(  # noqa: PLR0911  # one return an operator reads as the table below
    operator: Operator,
    source: NDArray[np.float32],
    ground: NDArray[np.float32],
    source_alpha: Plane | None,
    ground_alpha: Plane,
) -> NDArray[np.float32]:
    """Return one channel of `source` laid on `ground`.

    Parameters
    ----------
    operator : Operator
    source, ground : float32 array, (height, width)
        cs and cb: premultiplied, scene-linear.
    source_alpha, ground_alpha : Plane
        as and ab, 0..1. None for the source means 1 everywhere.

    Returns
    -------
    float32 array, (height, width)
        co, premultiplied, not clamped.

    Notes
    -----
    With as ab Cs Cb = cs cb, as ab Cb = as cb and as ab Cs = ab cs, no blend divides by a
    small alpha::

        plus      cs + cb
        over      cs + (1 - as) cb
        in        ab cs
        out       (1 - ab) cs
        atop      ab cs + (1 - as) cb
        blends    (1 - ab) cs + (1 - as) cb + body, where body = as ab B(Cb, Cs) is
        multiply  cs cb
        screen    as cb + ab cs - cs cb
        lighten   max(as cb, ab cs)
        darken    min(as cb, ab cs)

    Light without coverage (alpha 0, colour not 0) has no Cs, so a rule is needed. As source:
    plus, over and the blends add it; in, out and atop weigh it by the ground's coverage like
    any other source. As ground: plus adds to it; over, atop and the blends dim it by
    (1 - as), as any light behind the source, and the blends don't mix it (body 0); in and
    out replace it as they replace all ground.

    References
    ----------
    Porter & Duff 1984, doi 10.1145/800031.808606. W3C, Compositing and Blending Level 1,
    sections 5.1 (formula), 9 (Porter Duff), 10 (blending).
    """
    a = np.float32(1) if source_alpha is None else source_alpha
    b = ground_alpha
    if operator == "plus":
        return np.asarray(source + ground, dtype=np.float32)
    if operator == "over":
        return np.asarray(source + (1 - a) * ground, dtype=np.float32)
    if operator == "in":
        return np.asarray(b * source, dtype=np.float32)
    if operator == "out":
        return np.asarray((1 - b) * source, dtype=np.float32)
    if operator == "atop":
        return np.asarray(b * source + (1 - a) * ground, dtype=np.float32)
    body = _body(operator, source, ground, a, b)
    mixed = (1 - b) * source + (1 - a) * ground + np.where(b > 0, body, np.float32(0))
    if source_alpha is None:
        return np.asarray(mixed, dtype=np.float32)
    return np.where(source_alpha > 0, mixed, source + ground)


def blend_alpha(operator: Operator, source_alpha: Plane | None, ground_alpha: Plane) -> Plane:
    """Return the coverage of the result, 0..1.

    Parameters
    ----------
    operator : Operator
    source_alpha, ground_alpha : Plane
        As in `blend_channel`.

    Returns
    -------
    Plane
        plus: as + ab, at most 1; in: as ab; out: as (1 - ab); atop: ab; over and the blends:
        as + ab - as ab.
    """
    a = np.ones_like(ground_alpha) if source_alpha is None else source_alpha
    b = ground_alpha
    if operator == "plus":
        return np.asarray(np.minimum(a + b, np.float32(1)), dtype=np.float32)
    if operator == "in":
        return np.asarray(a * b, dtype=np.float32)
    if operator == "out":
        return np.asarray(a * (1 - b), dtype=np.float32)
    if operator == "atop":
        return b
    return np.asarray(a + b * (1 - a), dtype=np.float32)


def check_blend(
    ground: Picture,
    source: Picture,
    operator: Operator,
    matrix: NDArray[np.float64] | None = None,
) -> None:
    """Refuse `screen` and `multiply` on light they are not made for.

    Parameters
    ----------
    ground, source : Picture
        As in `combine.combine_step`.
    operator : Operator
    matrix : float64 array, (3, 3), optional
        Gain and tint that the source will get.

    Raises
    ------
    LightError
        `screen` where p99.9 of either side is above 1: cs + cb - cs cb then falls as light
        rises. `screen` and `multiply` where p0.1 of either side is below -0.01: two negative
        values make a positive one.

    Notes
    -----
    Un-premultiplied values, of every fourth row and column of pictures of 64 pixels or more.
    """
    if operator not in ("screen", "multiply"):
        return
    for name, picture, weigh in (("ground", ground, None), ("source", source, matrix)):
        values = _sample_straight(picture, weigh)
        if values.size == 0:
            continue
        low, high = (float(p) for p in np.percentile(values, (0.1, 99.9)))
        if operator == "screen" and high > 1:
            raise LightError(
                f"`screen` is not made for light above 1, and the {name} holds it",
                seen=f"p99.9 {high:.4g}",
                expected="at most 1",
                remedy="Use plus, which adds light as lamps do, or lower the stops.",
            )
        if low < -NEGATIVE_NOISE:
            raise LightError(
                f"`{operator}` is not made for negative light, and the {name} holds it",
                seen=f"p0.1 {low:.4g}",
                expected=f"at least {-NEGATIVE_NOISE:g}",
                remedy="Check dark and ambient of the pass: too much is taken away.",
            )


def remark_operator(operator: Operator) -> Problem | None:
    """Return what a job with this operator should be told, or None."""
    if operator not in ("lighten", "darken"):
        return None
    way = "brighter" if operator == "lighten" else "darker"
    return Problem(
        rank=Rank.REMARK,
        what=f"`{operator}` keeps the {way} of two noisy values and so biases even areas",
        seen="a bias of 0.56 sigma where both sides are equal (1 / sqrt(pi), normal noise)",
        expected="none",
        remedy="Use plus where light is added to light.",
    )


def _body(
    operator: Operator,
    source: NDArray[np.float32],
    ground: NDArray[np.float32],
    a: Plane | np.float32,
    b: Plane,
) -> NDArray[np.float32]:
    if operator == "multiply":
        return source * ground
    if operator == "screen":
        return np.asarray(a * ground + b * source - source * ground, dtype=np.float32)
    if operator == "lighten":
        return np.asarray(np.maximum(a * ground, b * source), dtype=np.float32)
    return np.asarray(np.minimum(a * ground, b * source), dtype=np.float32)


def _sample_straight(picture: Picture, matrix: NDArray[np.float64] | None) -> NDArray[np.float32]:
    """Return un-premultiplied values where there is coverage, from a sample of the picture."""
    step = 4 if min(picture.rgb.shape[:2]) >= 64 else 1
    rgb = picture.rgb[::step, ::step].reshape(-1, 3)
    if matrix is not None:
        rgb = rgb @ matrix.T.astype(np.float32)
    if picture.alpha is None:
        return np.asarray(rgb, dtype=np.float32)
    alpha = picture.alpha[::step, ::step].reshape(-1)
    covered = alpha > 0
    return np.asarray(rgb[covered] / alpha[covered, None], dtype=np.float32)
