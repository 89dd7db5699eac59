"""A still made here and now: the same pixels as the service's, and the identities of light.

Sources: Grassmann 1853, doi 10.1002/andp.18531650505 (lights add); APEX, ISO 2720 (a stop is a
factor of 2; exposure is t S / N^2).
"""

import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from glimsum_jobs.errors import JobError
from glimsum_workers.frames.roots import Roots
from glimsum_workers.looking.one_frame import Still, make_still
from support.run_here import read_exr, run_here
from support.small_shots import exr_pass, flat, grain, small_roots, small_shot, write_exr_pass

Light = NDArray[np.float32]
FEW = settings(max_examples=10, deadline=None)
SEEDS = st.lists(st.integers(0, 10_000), min_size=2, max_size=4, unique=True)
QUARTER_STOPS = st.integers(-24, 24).map(lambda quarters: quarters / 4)


def still_of(
    pictures: Mapping[str, Light],
    recipe: Sequence[Mapping[str, Any]],
    exposures: Mapping[str, Mapping[str, Any]] | None = None,
    **more: Any,
) -> Still:
    """Write each picture as a pass of one float file and combine them in the order of `recipe`."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        passes = {}
        for each, picture in pictures.items():
            write_exr_pass(folder, each, {1: picture})
            passes[each] = exr_pass(each) | {"exposure": (exposures or {}).get(each, {"stops": 0})}
        job = small_shot(
            frames={"first": 1001, "last": 1001}, passes=passes, recipe=list(recipe), **more
        )
        return make_still(job, 1001, Roots(small_roots(folder)), folder / "kept")


def lamps(seeds: Sequence[int]) -> dict[str, Light]:
    return {f"lamp_{index}": grain(seed, 5, 7) for index, seed in enumerate(seeds)}


@FEW
@given(SEEDS)
def test_passes_add_to_the_photograph_with_all_lamps_on(seeds: list[int]) -> None:
    pictures = lamps(seeds)

    still = still_of(pictures, [{"pass": name} for name in pictures])

    exact = np.sum([each.astype(np.float64) for each in pictures.values()], axis=0)
    np.testing.assert_allclose(still.rgb, exact, atol=4e-7)
    assert still.alpha is not None
    assert (still.alpha == 1).all()


@FEW
@given(SEEDS, st.randoms(use_true_random=False))
def test_the_order_of_plus_is_of_no_account(seeds: list[int], order: Any) -> None:
    pictures = lamps(seeds)
    steps = [{"pass": name, "stops": index / 2} for index, name in enumerate(pictures)]
    shuffled = list(steps)
    order.shuffle(shuffled)

    one, other = (still_of(pictures, each, unit="lamp_0") for each in (steps, shuffled))

    np.testing.assert_allclose(one.rgb, other.rgb, atol=2e-6)


@FEW
@given(st.integers(0, 10_000), QUARTER_STOPS)
def test_stops_are_a_gain_of_two_to_their_power(seed: int, stops: float) -> None:
    pictures = lamps([seed])

    still = still_of(pictures, [{"pass": "lamp_0", "stops": stops}])

    np.testing.assert_allclose(
        still.rgb, pictures["lamp_0"].astype(np.float64) * 2.0**stops, rtol=2e-7
    )


@FEW
@given(st.integers(0, 10_000))
def test_no_stops_change_nothing_at_all(seed: int) -> None:
    pictures = lamps([seed])

    still = still_of(pictures, [{"pass": "lamp_0", "stops": 0}])

    np.testing.assert_array_equal(still.rgb, pictures["lamp_0"])


@FEW
@given(SEEDS, QUARTER_STOPS)
def test_one_pass_twice_at_a_stop_less_is_the_pass_once(seeds: list[int], stops: float) -> None:
    pictures = lamps(seeds)
    rest = [{"pass": name} for name in list(pictures)[1:]]

    once = still_of(pictures, [{"pass": "lamp_0", "stops": stops}, *rest])
    half = {"pass": "lamp_0", "stops": stops - 1}
    twice = still_of(pictures, [half, half, *rest])

    np.testing.assert_allclose(once.rgb, twice.rgb, rtol=1e-6, atol=1e-5)


def test_light_less_another_is_what_the_second_added() -> None:
    """Smoke lit by the key: photographed with and without it (Grassmann: lights subtract too)."""
    key, smoke = grain(1, 5, 7), grain(2, 5, 7)
    pictures = {"key": key, "haze": (key + smoke).astype(np.float32)}

    still = still_of(pictures, [{"pass": "key"}, {"pass": "haze", "less": "key", "stops": -1}])

    np.testing.assert_allclose(still.rgb, key + 0.5 * smoke.astype(np.float64), atol=4e-7)


def test_an_element_is_light_added_where_it_lies(tmp_path: Path) -> None:
    write_exr_pass(tmp_path, "key", {n: grain(n, 5, 7) for n in (1, 2, 3)})
    write_exr_pass(tmp_path, "rain", {n: flat([n, 0, 0], 2, 3) for n in (4, 5)})
    job = small_shot(
        passes={"key": exr_pass("key")},
        elements={
            "rain": {
                "files": "plates:rain/rain.%04d.exr",
                "space": "lin_ap1_scene",
                "beyond": "loop",
                "place": [{"frame": 1001, "x": 1, "y": 2}],
            }
        },
        recipe=[{"pass": "key"}, {"element": "rain", "stops": -1}],
    )

    still = make_still(job, 1003, Roots(small_roots(tmp_path)), tmp_path / "kept")

    expected = grain(3, 5, 7)
    expected[2:4, 1:4, 0] += 0.5 * 4  # files 4, 5 and 4 again
    np.testing.assert_allclose(still.rgb, expected, atol=1e-5)


def test_the_whole_picture_is_corrected_for_looking_and_in_masters_where_asked(
    tmp_path: Path,
) -> None:
    write_exr_pass(tmp_path, "key", {1: flat([0.2, 0.2, 0.2])})
    made = {}
    for name, told in {
        "as shot": {},
        "seen": {"stops": 1},
        "in masters": {"stops": 1, "in_masters": True},
    }.items():
        job = small_shot(
            frames={"first": 1001, "last": 1001}, passes={"key": exr_pass("key")}, picture=told
        )
        made[name] = make_still(job, 1001, Roots(small_roots(tmp_path)), tmp_path / "kept")

    levels = {name: float(still.rgb[0, 0, 0]) for name, still in made.items()}
    assert levels == pytest.approx({"as shot": 0.2, "seen": 0.2, "in masters": 0.4}, rel=1e-6)
    np.testing.assert_array_equal(made["seen"].display, made["in masters"].display)
    assert made["seen"].display.mean() > made["as shot"].display.mean() + 20
    prints = {still.attributes.own["glimsum:recipeFingerprint"] for still in made.values()}
    assert len(prints) == 2  # the look of a viewing copy changes no master


# By hand, log2(t S / N^2) with marked numbers at their exact places in the series: f/16 is 2^4,
# f/11 2^3.5, f/5.6 2^2.5, f/1.4 2^0.5; 1/60 s is 2^-6, 1/125 s 2^-7; ISO 100 to 800 is 3 stops.
EQUAL_STOPS = [
    ({"seconds": 8, "f_number": 16, "iso": 100}, 3.0),
    ({"seconds": 1, "f_number": 11, "iso": 100}, 1.0),
    ({"seconds": 1, "f_number": 16, "iso": 800}, 3.0),
    ({"seconds": "1/60", "f_number": 5.6, "iso": 200}, -6.0 + 3.0 + 1.0),
    ({"seconds": "1/125", "f_number": 1.4, "iso": 400}, -7.0 + 7.0 + 2.0),
]


@pytest.mark.parametrize(("camera", "stops"), EQUAL_STOPS)
def test_exposure_by_time_aperture_and_speed_is_the_same_light_as_by_stops(
    camera: dict[str, Any], stops: float
) -> None:
    pictures = lamps([3, 4])
    recipe = [{"pass": name} for name in pictures]
    unit = {"seconds": 1, "f_number": 16, "iso": 100}

    by_camera = still_of(pictures, recipe, {"lamp_0": unit, "lamp_1": camera})
    by_stops = still_of(pictures, recipe, {"lamp_1": {"stops": stops}})

    np.testing.assert_array_equal(by_camera.rgb, by_stops.rgb)
    expected = pictures["lamp_0"] + pictures["lamp_1"].astype(np.float64) * 2.0**-stops
    np.testing.assert_allclose(by_stops.rgb, expected, rtol=1e-6, atol=1e-6)


def test_a_still_is_the_master_of_its_frame(tmp_path: Path) -> None:
    for seed, name in enumerate(("key", "leak")):
        write_exr_pass(tmp_path, name, {n: grain(10 * seed + n) for n in (1, 2, 3)})
    passes = {
        "key": exr_pass("key", ambient="leak", level="steady"),
        "leak": exr_pass("leak", use="ambient"),
    }
    job = small_shot(passes=passes, masters=[{"pixel": "float"}])
    roots = small_roots(tmp_path)

    still = make_still(job, 1002, Roots(roots), tmp_path / "kept")
    run = run_here(job, roots)

    np.testing.assert_array_equal(still.rgb, read_exr(run.master(1002)))
    assert still.display.shape == (36, 64, 3)
    assert still.attributes.own["glimsum:recipeFingerprint"] == run.combined[1002].fingerprint


def test_a_dead_frame_is_no_still_and_another_of_the_shot_is(tmp_path: Path) -> None:
    paths = write_exr_pass(tmp_path, "key", {n: grain(n) for n in (1, 2, 3)})
    paths[1].write_bytes(paths[1].read_bytes()[:-40])
    job = small_shot(passes={"key": exr_pass("key")})
    roots = Roots(small_roots(tmp_path))

    with pytest.raises(JobError, match=r"frame 1002 of shot small.*\n.*key\.0002\.exr.*bytes"):
        make_still(job, 1002, roots, tmp_path / "kept")
    assert make_still(job, 1003, roots, tmp_path / "kept").rgb.shape == (36, 64, 3)


def test_a_frame_the_shot_has_not_is_named_with_those_it_has(tmp_path: Path) -> None:
    write_exr_pass(tmp_path, "key", {n: grain(n) for n in (1, 2, 3)})
    job = small_shot(passes={"key": exr_pass("key")})

    with pytest.raises(JobError, match=r"no such frame.*seen: 999; expected: 1001 to 1003"):
        make_still(job, 999, Roots(small_roots(tmp_path)), tmp_path / "kept")
