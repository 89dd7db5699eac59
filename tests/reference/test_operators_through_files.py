"""Operators from files on disk to masters on disk, on pixels worked by hand.

Sources: Porter & Duff 1984, doi 10.1145/800031.808606; W3C, Compositing and Blending Level 1,
sections 5.1 (general formula), 9 (Porter Duff) and 10 (blending). All values are premultiplied
as OpenEXR stores them. Cs = cs / as and Cb = cb / ab are the colours without coverage.

The passes are float OpenEXR files, 1 row of 4 pixels, written and read by OpenEXR's own library
and read once more by OpenImageIO. The ground is laid with plus on nothing, so it is stored as it
is: cb .4 at ab .5 (Cb .8) in the first pixel, .5 at 1 in the others.
"""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from glimsum_jobs.ledger import RunState
from support.harbour import read_pixels
from support.run_here import read_exr, run_here
from support.small_shots import exr_pass, small_roots, small_shot, write_exr_pass

GROUND = [(0.4, 0.5), (0.5, 1.0), (0.5, 1.0), (0.5, 1.0)]
# Thin coverage .3 (Cs .4); a lamp at 4.0; negative noise; light without coverage.
SOURCE = [(0.12, 0.3), (4.0, 1.0), (-0.01, 1.0), (0.25, 0.0)]

# Each (co, ao), worked with pencil.
#
# Pixel 1: cs .12, as .3, cb .4, ab .5.
#   plus  co = cs + cb = .52                     ao = as + ab = .8
#   over  co = cs + (1 - as) cb = .12 + .28      ao = as + ab - as ab = .8 - .15 = .65
#   in    co = ab cs = .06                       ao = as ab = .15
#   out   co = (1 - ab) cs = .06                 ao = as (1 - ab) = .15
#   atop  co = ab cs + (1 - as) cb = .06 + .28   ao = ab = .5
#   blends: co = (1 - ab) cs + (1 - as) cb + as ab B(Cb, Cs) = .06 + .28 + .15 B, ao = .65
#     multiply B = .8 * .4 = .32                 screen B = .8 + .4 - .32 = .88
#     lighten  B = max(.8, .4) = .8              darken B = .4
# Pixel 2: cs 4, as 1, cb .5, ab 1: nothing is clipped on the way.
#   plus 4.5, over 4, in 4, out 0 at 0, atop 4, multiply 4 * .5 = 2,
#   screen .5 + 4 - 2 = 2.5, lighten 4, darken .5
# Pixel 3: cs -.01, as 1, cb .5, ab 1: noise below 0 stays.
#   plus .49, over -.01, in -.01, out 0 at 0, atop -.01, multiply -.005,
#   screen .5 - .01 + .005 = .495, lighten .5, darken -.01
# Pixel 4: light .25 at as 0 over .5 at 1. The formulas need no Cs for the first five:
#   plus .75 at 1, over .25 + .5 at 1, in .25 at 0, out 0 at 0, atop .25 + .5 at 1.
#   For the blends as ab B is 0, yet (1 - ab) cs would lose light that is there; our own rule,
#   no source: light without coverage is added, .75 at 1.
WORKED: dict[str, list[tuple[float, float]]] = {
    "plus": [(0.52, 0.8), (4.5, 1), (0.49, 1), (0.75, 1)],
    "over": [(0.40, 0.65), (4.0, 1), (-0.01, 1), (0.75, 1)],
    "in": [(0.06, 0.15), (4.0, 1), (-0.01, 1), (0.25, 0)],
    "out": [(0.06, 0.15), (0.0, 0), (0.0, 0), (0.0, 0)],
    "atop": [(0.34, 0.5), (4.0, 1), (-0.01, 1), (0.75, 1)],
    "multiply": [(0.388, 0.65), (2.0, 1), (-0.005, 1), (0.75, 1)],
    "screen": [(0.472, 0.65), (2.5, 1), (0.495, 1), (0.75, 1)],
    "lighten": [(0.46, 0.65), (4.0, 1), (0.5, 1), (0.75, 1)],
    "darken": [(0.40, 0.65), (0.5, 1), (-0.01, 1), (0.75, 1)],
}
REFUSED = {"screen": 1}
"""Pixels an operator is not made for: screen refuses light above 1, so it gets .5 there."""


def row(pixels: list[tuple[float, float]]) -> NDArray[np.float32]:
    return np.array([[[c, c, c, a] for c, a in pixels]], dtype=np.float32)


def run_operator(folder: Path, operator: str, pixel: str) -> Path:
    source = list(SOURCE)
    if operator in REFUSED:
        source[REFUSED[operator]] = (0.5, 1.0)
    write_exr_pass(folder, "ground", {1: row(GROUND)})
    write_exr_pass(folder, "laid", {1: row(source)})
    job = small_shot(
        frames={"first": 1001, "last": 1001},
        passes={"ground": exr_pass("ground"), "laid": exr_pass("laid")},
        recipe=[{"pass": "ground"}, {"pass": "laid", "operator": operator}],
        masters=[{"pixel": pixel}],
    )
    run = run_here(job, small_roots(folder))
    assert run.state is RunState.DONE, run.items
    return run.master(1001)


def worked(operator: str) -> NDArray[np.float64]:
    pixels = list(WORKED[operator])
    if operator in REFUSED:
        # screen .5 on .5: .5 + .5 - .25
        pixels[REFUSED[operator]] = (0.75, 1)
    return np.array([[[c, c, c, a] for c, a in pixels]])


def whole(picture: NDArray[np.float32]) -> NDArray[np.float32]:
    """Coverage of 1 everywhere is not stored."""
    if picture.shape[2] == 4:
        return picture
    return np.concatenate([picture, np.ones_like(picture[..., :1])], axis=2)


@pytest.mark.parametrize("operator", WORKED)
def test_float_masters_hold_the_pencils_values_for_two_readers(
    operator: str, tmp_path: Path
) -> None:
    path = run_operator(tmp_path, operator, "float")

    for stored in (read_exr(path), read_pixels(path)):
        # A few roundings of binary32, 2^-24 each, of sums of at most 5.
        np.testing.assert_allclose(whole(stored), worked(operator), rtol=2e-7, atol=1e-7)


@pytest.mark.parametrize("operator", WORKED)
def test_half_masters_hold_them_to_half_rounding(operator: str, tmp_path: Path) -> None:
    stored = read_exr(run_operator(tmp_path, operator, "half"))

    # binary16 keeps 11 bits: half a last place is 2^-12 of the value's power of two.
    np.testing.assert_allclose(whole(stored), worked(operator), rtol=2.0**-11, atol=2.0**-25)


def test_screen_refuses_the_lamp_it_would_darken(tmp_path: Path) -> None:
    write_exr_pass(tmp_path, "ground", {1: row(GROUND)})
    write_exr_pass(tmp_path, "laid", {1: row(SOURCE)})
    job = small_shot(
        frames={"first": 1001, "last": 1001},
        passes={"ground": exr_pass("ground"), "laid": exr_pass("laid")},
        recipe=[{"pass": "ground"}, {"pass": "laid", "operator": "screen"}],
    )

    run = run_here(job, small_roots(tmp_path))

    assert run.state is RunState.DONE_WITH_REMARKS
    (refused,) = [p for p in run.finished.remarks if p.place.frame == 1001]
    assert "pass laid, frame 1001" in refused.seen
    assert "expected: at most 1" in refused.seen


@pytest.mark.parametrize(
    ("step", "expected"),
    [
        # 2^1 on colour, never on coverage; over a ground of .4 at .5: .24 + .7 * .4, .65.
        ({"stops": 1, "operator": "over"}, (0.52, 0.65)),
        # A lamp that is out still covers: 0 + .7 * .4, .65.
        ({"stops": "out", "operator": "over"}, (0.28, 0.65)),
        # A matte of 51 / 255 = .2 on both: .024 + (1 - .06) .4, .06 + .5 - .03.
        ({"matte": "fifth", "operator": "over"}, (0.4, 0.53)),
    ],
    ids=["stops", "out", "matte"],
)
def test_stops_weigh_colour_alone_and_a_matte_weighs_both(
    step: dict[str, Any], expected: tuple[float, float], tmp_path: Path
) -> None:
    from PIL import Image

    Image.new("L", (4, 1), 51).save(tmp_path / "fifth.png")
    write_exr_pass(tmp_path, "ground", {1: row(GROUND)})
    write_exr_pass(tmp_path, "laid", {1: row(SOURCE)})
    job = small_shot(
        frames={"first": 1001, "last": 1001},
        passes={"ground": exr_pass("ground"), "laid": exr_pass("laid")},
        mattes={"fifth": {"files": "plates:fifth.png"}},
        recipe=[{"pass": "ground"}, {"pass": "laid", **step}],
        masters=[{"pixel": "float"}],
    )

    stored = read_exr(run_here(job, small_roots(tmp_path)).master(1001))

    np.testing.assert_allclose(stored[0, 0, [0, 3]], expected, rtol=2e-7)
