"""Coverage of a set before a lit backing, against finer rasters and the ray-traced harbour.

The harbour's set is lit by its backing (spill), stands on water that mirrors it, and was never
shot without the set. Its floor: the definition of coverage with the true drift and the one level
of the backing that its own truth tells, clamped. The made set has no spill and an empty backing.
"""

import logging
from dataclasses import dataclass
from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import ndimage

from glimsum_workers.engine.mattes.backing import matte_from_backing
from glimsum_workers.engine.mattes.backing_surface import find_backing
from support.harbour import true_drift
from support.harbour_chain import leak_of, light_of
from support.harbour_drift import find_shot, moving_set
from support.silhouettes import made_silhouette

Weights = NDArray[np.float32]

RIM_PX = 3
LOG = logging.getLogger(__name__)
"""Figures of each check, shown by pytest --log-cli-level=INFO."""


def rms(off: NDArray[np.floating]) -> float:
    return float(np.sqrt(np.mean(np.square(off))))


def rim(truth: Weights) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Return the pixels up to 3 px inside the edge, and those outside (SciPy's distances)."""
    inside = truth >= 0.5
    return tuple(  # type: ignore[return-value]  # two of them, as many as are named
        np.asarray(each & (np.asarray(ndimage.distance_transform_edt(each)) <= RIM_PX))
        for each in (inside, ~inside)
    )


@dataclass(frozen=True)
class Harbour:
    """Silhouette, true coverage, the floor, and ours with and without spill taken out."""

    truth: Weights
    floor: Weights
    ours: Weights
    solid: Weights
    beauty: NDArray[np.float32]


@cache
def harbour(which: str) -> Harbour:
    shot = find_shot(which)
    frame = 5 if shot.name == "moving" else 0
    drift = true_drift(shot, "matte", frame)
    assert (drift.rotation_deg, drift.scale) == (0, 1)
    leak = leak_of(shot, frame, 9)
    seen = light_of(shot, "matte", frame, leak).astype(np.float32)
    truth = shot.set_coverage()
    mean = seen.mean(axis=2)
    level = float(np.median(mean[truth < 0.01]))
    backing = find_backing(seen)
    return Harbour(
        truth=truth,
        floor=np.asarray(np.clip(1 - mean / level, 0, 1), dtype=np.float32),
        ours=matte_from_backing(seen, backing.light).weight,
        solid=matte_from_backing(seen, backing.light, solid=True).weight,
        beauty=shot.alone("beauty"),
    )


@pytest.mark.parametrize("which", ["locked", "moving"])
def test_the_harbour_is_as_good_as_the_definition_allows(which: str) -> None:
    shot = harbour(moving_set() if which == "moving" else which)
    edge = (shot.truth > 0.02) & (shot.truth < 0.98)
    told = {name: rms((getattr(shot, name) - shot.truth)[edge]) for name in ("floor", "ours")}
    solid = rms((shot.solid - shot.truth)[edge])

    LOG.info(f"{which}: rms at edges {told}, solid {solid:.4f}")
    assert 0.08 <= told["floor"] <= 0.13
    assert told["ours"] <= 1.2 * told["floor"]
    assert solid <= 0.9 * told["floor"]


@pytest.mark.parametrize("which", ["locked", "moving"])
def test_spill_and_water_are_taken_out_of_a_solid_set(which: str) -> None:
    shot = harbour(moving_set() if which == "moving" else which)
    whole = {name: rms(getattr(shot, name) - shot.truth) for name in ("floor", "ours", "solid")}

    LOG.info(f"{which}: rms over the picture {whole}")
    assert whole["ours"] <= 1.1 * whole["floor"]
    assert whole["solid"] <= 0.02


@pytest.mark.parametrize("which", ["locked", "moving"])
def test_the_rim_of_the_harbour_before_a_sky_is_as_bright_as_the_truth(which: str) -> None:
    # A sky as bright as the beauty pass's own light of the set (0.1); the set over it by Porter &
    # Duff's over, once with the true coverage and once with ours.
    shot = harbour(moving_set() if which == "moving" else which)
    lit = shot.beauty * shot.truth[..., None]
    inside, outside = rim(shot.truth)
    ratios = {}
    for name in ("ours", "solid"):
        weight = getattr(shot, name)[..., None]
        mine, true = lit + (1 - weight) * 0.1, lit + (1 - shot.truth[..., None]) * 0.1
        ratios[name] = [
            round(float(mine[part].sum() / true[part].sum()), 4)
            for part in (inside, outside, inside | outside)
        ]

    LOG.info(f"{which}: rim inside, outside, both {ratios}")
    assert 0.98 <= ratios["solid"][2] <= 1.02
    assert all(0.98 <= ratio <= 1.03 for ratio in ratios["solid"])
    assert ratios["ours"][2] <= 1.03


@pytest.mark.parametrize("solid", [False, True])
@pytest.mark.parametrize("empty", [True, False], ids=["empty", "found"])
def test_a_set_without_spill_comes_out_as_a_finer_raster_counts_it(
    empty: bool, solid: bool
) -> None:
    shot = made_silhouette()
    backing = shot.empty if empty else find_backing(shot.seen).light
    edge = (shot.coverage > 0) & (shot.coverage < 1)

    made = matte_from_backing(shot.seen, backing, solid=solid).weight

    off = made - shot.coverage
    mine, true = shot.combined(made), shot.combined(shot.coverage)
    ratios = [float(mine[part].sum() / true[part].sum()) for part in rim(shot.coverage)]
    LOG.info(f"edges {rms(off[edge]):.4f}, picture {rms(off):.4f}, rim {ratios}")
    assert rms(off[edge]) <= 0.008
    assert rms(off) <= 0.004
    assert abs(float(off[edge].mean())) <= 0.001
    # Faint coverage is not pushed to the ends, nor away from them.
    faint = (shot.coverage > 0) & (shot.coverage < 0.1)
    dense = (shot.coverage > 0.9) & (shot.coverage < 1)
    assert abs(float(off[faint].mean())) <= 0.002
    assert abs(float(off[dense].mean())) <= 0.002
    assert all(0.99 <= ratio <= 1.01 for ratio in ratios)


def test_a_backing_that_falls_off_is_found_where_it_is_seen() -> None:
    shot = made_silhouette()
    wanted = shot.backing.mean(axis=2)

    found = find_backing(shot.seen)

    seen = shot.coverage < 1
    assert float(np.abs(found.light / wanted - 1)[seen].max()) <= 0.002
    assert float(np.abs(found.light / wanted - 1).max()) <= 0.05
    assert found.sigma <= 0.0015  # noise of a mean of 64 pixels and 3 channels: 0.0007


def test_one_level_in_place_of_the_surface_would_show() -> None:
    shot = made_silhouette()
    level = np.full_like(shot.backing, np.median(shot.backing))

    made = matte_from_backing(shot.seen, level).weight

    assert rms(made - shot.coverage) > 0.02
