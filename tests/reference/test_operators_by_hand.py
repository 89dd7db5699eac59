"""Operators on pixels worked by hand.

Sources: Porter & Duff 1984, doi 10.1145/800031.808606 (over, in, out, atop, plus); W3C,
Compositing and Blending Level 1 (the same in section 9, multiply, screen, darken and lighten in
section 10, the general formula in section 5.1). The numbers beside each case were worked with
pencil from those formulas; light without coverage follows the rule stated in `blends`.
"""

import numpy as np
import pytest

from glimsum_workers.engine.blends import Operator, remark_operator
from glimsum_workers.engine.codes import Picture
from glimsum_workers.engine.combine import combine_step, lay_ground


def pixel(colour: float, alpha: float | None) -> Picture:
    rgb = np.full((1, 1, 3), colour, dtype=np.float32)
    return Picture(rgb, None if alpha is None else np.full((1, 1), alpha, dtype=np.float32))


def lay(
    operator: Operator, source: tuple[float, float | None], ground: tuple[float, float]
) -> tuple[float, float]:
    below = pixel(*ground)
    combine_step(below, pixel(*source), operator, refuse=False)
    assert below.alpha is not None
    assert below.rgb[0, 0, 0] == below.rgb[0, 0, 1] == below.rgb[0, 0, 2]
    return float(below.rgb[0, 0, 0]), float(below.alpha[0, 0])


def test_half_covered_white_over_half_covered_black_is_the_worked_example() -> None:
    # Porter-Duff over: Cs 1 and as .5 (premultiplied .5) over Cb 0, ab .5: co .5, ao .75.
    assert lay("over", (0.5, 0.5), (0.0, 0.5)) == (0.5, 0.75)


CASES: list[tuple[Operator, tuple[float, float | None], tuple[float, float], float, float]] = [
    # Thin coverage: cs .12 at as .3 (Cs .4), cb .4 at ab .5 (Cb .8).
    ("plus", (0.12, 0.3), (0.4, 0.5), 0.52, 0.8),
    ("over", (0.12, 0.3), (0.4, 0.5), 0.12 + 0.7 * 0.4, 0.65),
    ("in", (0.12, 0.3), (0.4, 0.5), 0.06, 0.15),
    ("out", (0.12, 0.3), (0.4, 0.5), 0.06, 0.15),
    ("atop", (0.12, 0.3), (0.4, 0.5), 0.06 + 0.28, 0.5),
    # .5 * .12 + .7 * .4 = .34, plus .3 * .5 * B: B = .32, .88, .8, .4.
    ("multiply", (0.12, 0.3), (0.4, 0.5), 0.34 + 0.15 * 0.32, 0.65),
    ("screen", (0.12, 0.3), (0.4, 0.5), 0.34 + 0.15 * 0.88, 0.65),
    ("lighten", (0.12, 0.3), (0.4, 0.5), 0.34 + 0.15 * 0.8, 0.65),
    ("darken", (0.12, 0.3), (0.4, 0.5), 0.34 + 0.15 * 0.4, 0.65),
    # A lamp at 4.0, opaque, on an opaque ground of .5: nothing is clipped on the way.
    ("plus", (4.0, None), (0.5, 1.0), 4.5, 1.0),
    ("over", (4.0, None), (0.5, 1.0), 4.0, 1.0),
    ("in", (4.0, None), (0.5, 1.0), 4.0, 1.0),
    ("out", (4.0, None), (0.5, 1.0), 0.0, 0.0),
    ("atop", (4.0, None), (0.5, 1.0), 4.0, 1.0),
    ("multiply", (4.0, None), (0.5, 1.0), 2.0, 1.0),
    ("screen", (4.0, None), (0.5, 1.0), 2.5, 1.0),
    ("lighten", (4.0, None), (0.5, 1.0), 4.0, 1.0),
    ("darken", (4.0, None), (0.5, 1.0), 0.5, 1.0),
    # Negative noise of -.01 stays.
    ("plus", (-0.01, None), (0.5, 1.0), 0.49, 1.0),
    ("over", (-0.01, 0.3), (0.5, 1.0), -0.01 + 0.35, 1.0),
    ("in", (-0.01, None), (0.5, 0.5), -0.005, 0.5),
    ("multiply", (-0.01, None), (0.5, 1.0), -0.005, 1.0),
    ("screen", (-0.01, None), (0.5, 1.0), 0.495, 1.0),
    ("darken", (-0.01, None), (0.5, 1.0), -0.01, 1.0),
    # Light without coverage as source: added by plus, over and blends, weighed by the rest.
    ("plus", (0.25, 0.0), (0.5, 1.0), 0.75, 1.0),
    ("over", (0.25, 0.0), (0.5, 1.0), 0.75, 1.0),
    ("in", (0.25, 0.0), (0.5, 0.5), 0.125, 0.0),
    ("out", (0.25, 0.0), (0.5, 0.5), 0.125, 0.0),
    ("atop", (0.25, 0.0), (0.5, 0.5), 0.625, 0.5),
    ("multiply", (0.25, 0.0), (0.5, 1.0), 0.75, 1.0),
    ("screen", (0.25, 0.0), (0.5, 1.0), 0.75, 1.0),
    ("lighten", (0.25, 0.0), (0.5, 1.0), 0.75, 1.0),
    ("darken", (0.25, 0.0), (0.5, 1.0), 0.75, 1.0),
    # Light without coverage as ground: dimmed by what stands before it, not mixed.
    ("plus", (0.25, 0.5), (0.5, 0.0), 0.75, 0.5),
    ("over", (0.25, 0.5), (0.5, 0.0), 0.5, 0.5),
    ("multiply", (0.25, 0.5), (0.5, 0.0), 0.5, 0.5),
    ("screen", (0.25, 0.5), (0.5, 0.0), 0.5, 0.5),
    ("darken", (0.25, 0.5), (0.5, 0.0), 0.5, 0.5),
    # The empty ground takes a pass as it is.
    ("plus", (0.5, None), (0.0, 0.0), 0.5, 1.0),
    ("screen", (0.5, None), (0.0, 0.0), 0.5, 1.0),
    ("atop", (0.5, None), (0.0, 0.0), 0.0, 0.0),
]


@pytest.mark.parametrize(("operator", "source", "ground", "colour", "alpha"), CASES)
def test_operator_gives_what_the_pencil_gives(
    operator: Operator,
    source: tuple[float, float | None],
    ground: tuple[float, float],
    colour: float,
    alpha: float,
) -> None:
    assert pytest.approx((colour, alpha), abs=1e-6) == lay(operator, source, ground)


def test_two_whole_passes_added_cover_once() -> None:
    ground = lay_ground(1, 1)
    for _ in range(2):
        combine_step(ground, pixel(0.7, None))

    assert ground.alpha is not None
    assert ground.alpha[0, 0] == 1.0
    assert ground.rgb[0, 0, 0] == pytest.approx(1.4)


def test_matte_weighs_colour_and_coverage_and_gain_only_colour() -> None:
    ground = lay_ground(1, 1)
    matte = np.full((1, 1), 0.25, dtype=np.float32)

    combine_step(ground, pixel(0.8, 0.5), matrix=np.eye(3) * 2.0, matte=matte)

    assert ground.alpha is not None
    assert ground.rgb[0, 0, 0] == pytest.approx(0.4)
    assert ground.alpha[0, 0] == pytest.approx(0.125)


def test_bias_named_in_the_remark_on_lighten_is_the_true_one() -> None:
    # E max(X, Y) = sigma / sqrt(pi) for independent equal normals (Clark 1961, Operations
    # Research 9, 145-162, doi 10.1287/opre.9.2.145).
    noise = np.random.default_rng(5).standard_normal((2, 64, 4096, 3)).astype(np.float32)
    ground = Picture(noise[0].copy(), np.ones((64, 4096), dtype=np.float32))
    combine_step(ground, Picture(noise[1]), "lighten")

    assert float(ground.rgb.mean()) == pytest.approx(1 / np.sqrt(np.pi), abs=0.005)
    remark = remark_operator("lighten")
    assert remark is not None
    assert "0.56 sigma" in remark.seen
    assert remark_operator("plus") is None
