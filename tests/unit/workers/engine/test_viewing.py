"""Viewing copies: shape, limits, threads, refusals."""

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from glimsum_jobs.colour import DISPLAYS
from glimsum_jobs.errors import SourceError
from glimsum_jobs.spaces import WORKING_SPACES
from glimsum_workers.engine.viewing import Viewing

SHEET = np.random.default_rng(7).gamma(0.5, 0.4, (60, 80, 3)).astype(np.float32)


@pytest.mark.parametrize("display", DISPLAYS)
def test_every_display_and_view_offered_gives_codes(display: str) -> None:
    for view in DISPLAYS[display].views:
        codes = Viewing(display=display, view=view, exact=True).apply(SHEET[:4])
        assert codes.dtype == np.uint8
        assert codes.shape == (4, 80, 3)
        assert 0 < codes.mean() < 255


def test_darkness_and_glare_of_any_strength_give_the_ends_of_the_scale() -> None:
    row = np.array([[[-5.0] * 3, [-0.05] * 3, [0.0] * 3, [1e4] * 3]], dtype=np.float32)

    for exact in (False, True):
        codes = Viewing(exact=exact).apply(row)
        assert codes[0, :3].max() == 0
        assert codes[0, 3].min() >= 250


def test_parts_of_a_larger_array_and_reversed_arrays_are_read_right() -> None:
    viewing = Viewing(exact=True)

    np.testing.assert_array_equal(viewing.apply(SHEET[::2, ::-1]), viewing.apply(SHEET)[::2, ::-1])


def test_source_is_not_changed() -> None:
    before = SHEET.copy()

    Viewing().apply(SHEET)

    np.testing.assert_array_equal(SHEET, before)


def test_eight_threads_get_identical_codes() -> None:
    alone = Viewing().apply(SHEET)

    with ThreadPoolExecutor(8) as threads:
        answers = list(threads.map(lambda _: Viewing().apply(SHEET), range(16)))

    for answer in answers:
        np.testing.assert_array_equal(answer, alone)


def test_names_outside_the_lists_are_refused() -> None:
    with pytest.raises(SourceError, match=f"seen: srgb; expected: one of {WORKING_SPACES[0]}"):
        Viewing(working_space="srgb")
    with pytest.raises(SourceError, match=r"seen: Raw; expected: one of ACES 2\.0"):
        Viewing(view="Raw")
