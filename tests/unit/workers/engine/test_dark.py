"""Averages and darks: what stays out, what is kept, how sure."""

import numpy as np
import pytest

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.codes import Image
from glimsum_workers.engine.dark import Average, Averager, subtract_dark


def average(pictures: list[Image], trim: int = 1) -> Average:
    averager = Averager(trim)
    for picture in pictures:
        averager.add(picture)
    return averager.result()


def noisy(count: int, seed: int = 3) -> list[Image]:
    random = np.random.default_rng(seed)
    return [
        (0.01 + 0.001 * random.standard_normal((60, 80, 3))).astype(np.float32)
        for _ in range(count)
    ]


def test_few_pictures_are_averaged_plainly() -> None:
    pictures = noisy(4)

    result = average(pictures)

    np.testing.assert_allclose(result.mean, np.mean(pictures, axis=0), atol=1e-8)
    assert (result.count, result.trimmed) == (4, 0)


@pytest.mark.parametrize(("count", "trim"), [(5, 1), (16, 1), (9, 2), (7, 0)])
def test_mean_and_variance_are_those_of_scipy(count: int, trim: int) -> None:
    # scipy.stats.trim_mean, and its Winsorised variance (Tukey & McLaughlin 1963).
    from scipy import stats

    pictures = noisy(count)
    stack = np.array(pictures, dtype=np.float64)

    result = average(pictures, trim)

    assert result.trimmed == trim
    expected = stats.trim_mean(stack, trim / count + 1e-9, axis=0)
    np.testing.assert_allclose(result.mean, expected, atol=2e-9)
    winsor = np.sort(stack, axis=0)
    if trim:
        winsor[:trim], winsor[-trim:] = winsor[trim], winsor[-trim - 1]
    kept = count - 2 * trim
    squares = ((winsor - winsor.mean(axis=0)) ** 2).sum(axis=0)
    np.testing.assert_allclose(
        result.variance, squares / (kept * (kept - 1)), rtol=2e-3, atol=1e-13
    )


def test_variance_stated_is_the_variance_made() -> None:
    result = average(noisy(16))

    made = float(((result.mean - 0.01) ** 2).mean())
    assert float(result.variance.mean()) == pytest.approx(made, rel=0.1)
    # 1.03 times that of the plain mean, as the docstring says.
    assert made == pytest.approx(1.03 * 0.001**2 / 16, rel=0.05)


def test_cosmic_ray_and_a_person_in_one_picture_leave_no_trace() -> None:
    clean = noisy(6)
    spoilt = [picture.copy() for picture in clean]
    spoilt[2][30, 40] = 50.0
    spoilt[4][10:50, 20:40] = -0.009

    result = average(spoilt).mean - average(clean).mean

    assert np.abs(result).max() < 0.002


def test_pictures_may_come_one_by_one_and_be_asked_between() -> None:
    pictures = noisy(8)
    averager = Averager()
    for picture in pictures[:5]:
        averager.add(picture)
    averager.result()
    for picture in pictures[5:]:
        averager.add(picture)

    np.testing.assert_array_equal(averager.result().mean, average(pictures).mean)


def test_one_picture_is_its_own_mean_of_unknown_variance() -> None:
    (picture,) = noisy(1)

    result = average([picture])

    np.testing.assert_array_equal(result.mean, picture)
    assert not result.variance.any()


def test_dark_is_subtracted_with_its_negatives_kept() -> None:
    # E max(0, N) = 0.399 sigma: clipping at 0 would lift black by it (normal distribution).
    picture, dark = noisy(1)[0], np.full((60, 80, 3), 0.01, dtype=np.float32)

    result = subtract_dark(picture, dark)

    assert abs(float(result.mean())) < 4e-5
    assert float(np.maximum(result, 0).mean()) == pytest.approx(0.399e-3, rel=0.05)


def test_levels_are_subtracted_a_channel_each() -> None:
    picture = np.full((4, 6, 3), 0.5, dtype=np.float32)

    result = subtract_dark(picture, (0.1, 0.2, 0.3), out=picture)

    assert result is picture
    np.testing.assert_allclose(result, np.broadcast_to([0.4, 0.3, 0.2], (4, 6, 3)), rtol=1e-6)


def test_wrong_sizes_and_numbers_are_named() -> None:
    picture = np.zeros((4, 6, 3), dtype=np.float32)
    averager = Averager()
    averager.add(picture)

    with pytest.raises(LightError, match=r"seen: 5 x 4 pixels; expected: 6 x 4 pixels"):
        averager.add(picture[:, :5])
    with pytest.raises(LightError, match=r"seen: 6 x 3 pixels; expected: 6 x 4 pixels"):
        subtract_dark(picture, picture[:3])
    with pytest.raises(LightError, match=r"not three finite numbers; seen: \(0.1, nan, 0.1\)"):
        subtract_dark(picture, (0.1, float("nan"), 0.1))
    with pytest.raises(LightError, match=r"seen: 0 pictures; expected: at least 1"):
        Averager().result()
    with pytest.raises(LightError, match=r"seen: 4; expected: 0 to 3"):
        Averager(4)
