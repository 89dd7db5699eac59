"""Takes, darks and ambients averaged as an astronomy library averages its exposures.

Source: ccdproc 2.5 of the Astropy project (`Combiner`, `combine`, `subtract_dark`,
`subtract_bias`), which observatories reduce their exposures with; it works in float64. It knows
one channel a picture, so ours are held against it channel by channel.
"""

from collections.abc import Callable, Sequence
from typing import Any

import ccdproc
import numpy as np
import pytest
from astropy import units
from astropy.nddata import CCDData
from astropy.stats import mad_std
from numpy.typing import NDArray

from glimsum_workers.engine.ambient import subtract_ambient
from glimsum_workers.engine.codes import Picture
from glimsum_workers.engine.dark import Average, Averager, subtract_dark
from glimsum_workers.engine.take_combining import Take, combine_takes

Floats = NDArray[Any]

SUMMED = 1e-5
"""What is left of float32 sums that a light of 22 came into and went out of again: half an ulp of
200, which is 8e-6."""


def exposures(count: int, channels: int = 3) -> tuple[Floats, NDArray[np.bool_]]:
    """Return takes of one light with flies in them, and which pixels of which take are clipped."""
    random = np.random.default_rng(100 + count)
    light = 0.05 + 0.4 * random.random((24, 32, channels))
    values = light + 0.01 * random.standard_normal((count, 24, 32, channels))
    values[random.random((count, 24, 32)) < 0.02] *= 50
    clipped = random.random((count, 24, 32)) < 0.1
    # What no take tells of has no average there; ours keeps what it has (tested elsewhere).
    return values.astype(np.float32), clipped & ~clipped.all(axis=0)


def channel(values: Floats, index: int, clipped: NDArray[np.bool_] | None = None) -> list[CCDData]:
    masks = [None] * len(values) if clipped is None else list(clipped)
    return [
        CCDData(each[..., index].astype(np.float64), mask=mask, unit="adu")
        for each, mask in zip(values, masks, strict=True)
    ]


def theirs(combine: Callable[[int], CCDData]) -> Floats:
    return np.stack([np.asarray(combine(index).data) for index in range(3)], axis=-1)


def ours(
    values: Floats, clipped: NDArray[np.bool_], weights: Sequence[float], how: Any
) -> NDArray[np.float32]:
    takes = [
        Take(Picture(each), mask, weight)
        for each, mask, weight in zip(values, clipped, weights, strict=True)
    ]
    return combine_takes(takes, how).picture.rgb


@pytest.mark.parametrize("count", [2, 3, 6, 9])
@pytest.mark.parametrize(("how", "method"), [("mean", "average"), ("median", "median")])
def test_takes_with_clipped_pixels_are_combined_as_masked_exposures(
    count: int, how: str, method: str
) -> None:
    values, clipped = exposures(count)

    known = theirs(lambda index: ccdproc.combine(channel(values, index, clipped), method=method))

    np.testing.assert_allclose(ours(values, clipped, [1] * count, how), known, rtol=2e-6)


def test_takes_count_by_their_light_as_weighted_exposures_do() -> None:
    values, clipped = exposures(4)
    weights = [0.5, 1, 2, 4]

    def known(index: int) -> CCDData:
        combiner = ccdproc.Combiner(channel(values, index, clipped))
        # It divides by the weight of masked pixels too, so they are told of by their weight.
        combiner.weights = np.where(clipped, 0, np.reshape(weights, (-1, 1, 1)))
        return combiner.average_combine()

    np.testing.assert_allclose(ours(values, clipped, weights, "mean"), theirs(known), rtol=2e-6)


# The library says that it leaves out NaN, which is how it is told of clipped pixels here: its
# deviation would count what a mask hides.
@pytest.mark.filterwarnings(
    "ignore:Input data contains invalid values:astropy.utils.exceptions.AstropyUserWarning"
)
@pytest.mark.parametrize("count", [5, 9, 16])
@pytest.mark.parametrize("sigma", [3, 5])
def test_what_a_sigma_clip_leaves_out_is_left_out_of_takes(count: int, sigma: int) -> None:
    # Grey pictures, because a pixel of ours goes with the channel that gives it away.
    grey, clipped = exposures(count, channels=1)
    known = ccdproc.combine(
        channel(np.where(clipped[..., None], np.nan, grey), 0, clipped),
        method="average",
        sigma_clip=True,
        sigma_clip_low_thresh=sigma,
        sigma_clip_high_thresh=sigma,
        sigma_clip_func=np.nanmedian,
        sigma_clip_dev_func=lambda values, axis: mad_std(values, axis=axis, ignore_nan=True),
    )
    values = np.repeat(grey, 3, axis=-1)
    takes = [Take(Picture(each), mask) for each, mask in zip(values, clipped, strict=True)]

    told = combine_takes(takes, "mean", sigma=sigma)

    # One value in thousands may stand on the limit itself, and fall either way in float32.
    close = np.isclose(told.picture.rgb[..., 0], known.data, rtol=1e-5)
    assert close.mean() >= 0.995


def averaged(pictures: Floats, trim: int = 1) -> Average:
    averager = Averager(trim)
    for each in pictures:
        averager.add(each)
    return averager.result()


@pytest.mark.parametrize(("count", "trim"), [(3, 0), (5, 1), (16, 1), (9, 2)])
def test_darks_are_averaged_as_exposures_without_their_extremes(count: int, trim: int) -> None:
    darks, _ = exposures(count)

    known = theirs(
        lambda index: ccdproc.combine(
            channel(darks, index),
            method="average",
            clip_extrema=trim > 0,
            nlow=trim,
            nhigh=trim,
        )
    )

    average = averaged(darks, max(trim, 1))
    assert average.trimmed == trim
    np.testing.assert_allclose(average.mean, known, atol=SUMMED)


def test_an_averaged_dark_is_taken_away_as_subtract_dark_does() -> None:
    darks, _ = exposures(16)
    (light,), _ = exposures(1)

    def known(index: int) -> CCDData:
        master = ccdproc.combine(channel(darks, index), method="average", clip_extrema=True)
        return ccdproc.subtract_dark(
            channel(light[None], index)[0],
            master,
            dark_exposure=16 * units.s,
            data_exposure=16 * units.s,
        )

    taken = subtract_dark(light, averaged(darks).mean)

    np.testing.assert_allclose(taken, theirs(known), atol=SUMMED)
    assert (taken < 0).any()


def test_an_averaged_ambient_is_taken_away_as_an_additive_frame() -> None:
    leaks, _ = exposures(8)
    (light,), _ = exposures(1)

    def known(index: int) -> CCDData:
        master = ccdproc.combine(channel(leaks, index), method="average", clip_extrema=True)
        return ccdproc.subtract_bias(channel(light[None], index)[0], master)

    np.testing.assert_allclose(
        subtract_ambient(light, averaged(leaks).mean), theirs(known), atol=SUMMED
    )
