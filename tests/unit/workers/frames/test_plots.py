"""Plots are looked at as pixels: which colours stand where."""

import numpy as np
import pytest
from numpy.typing import NDArray

from glimsum_workers.frames.plots import Line, draw_plot

BLUE = (20, 80, 140)
PAPER = (250, 249, 245)


def blue_columns(picture: NDArray[np.uint8]) -> NDArray[np.intp]:
    """Columns of the plot (key and title left out) that hold the first line."""
    inner = picture[34:-44]
    return np.flatnonzero((inner == BLUE).all(axis=2).any(axis=0))


def test_a_frame_stands_where_its_number_says_and_a_gap_breaks_the_line() -> None:
    frames = [1001, 1002, 1003, 1011]
    columns = blue_columns(draw_plot("t", frames, [Line("x", [0.1, 0.2, 0.3, 0.1])]))
    left, right = columns[0] + 3, columns[-1] - 3  # a dot reaches 3 pixels each way
    third = left + (right - left) * 2 / 10
    between = columns[(columns > third + 4) & (columns < right - 4)]
    assert between.size == 0
    assert np.abs(columns - third).min() <= 1


def test_higher_values_stand_higher() -> None:
    picture = draw_plot("t", [1, 2], [Line("x", [0.0, 1.0])])
    rows = [
        np.flatnonzero((picture[34:-44, x] == BLUE).all(axis=1)).mean()
        for x in (blue_columns(picture)[3], blue_columns(picture)[-4])
    ]
    assert rows[1] < rows[0] - 50


def test_a_doubtful_frame_has_a_hollow_mark() -> None:
    sure = draw_plot("t", [7], [Line("x", [0.5])])
    unsure = draw_plot("t", [7], [Line("x", [0.5], doubtful=frozenset({7}))])
    middle = np.argwhere((sure[34:-44] == BLUE).all(axis=2)).mean(axis=0).round().astype(int)
    assert tuple(sure[34 + middle[0], middle[1]]) == BLUE
    assert tuple(unsure[34 + middle[0], middle[1]]) == PAPER


def test_ten_thousand_frames_are_drawn_as_lines_that_lose_none() -> None:
    rng = np.random.default_rng(1)
    frames = list(range(1001, 11_001))
    values = np.cumsum(rng.normal(0, 0.01, len(frames))).tolist()
    values[5000] += 3.0

    picture = draw_plot("t", frames, [Line("x", values, [0.05] * len(frames))])

    heights = (picture[34:-44] == BLUE).all(axis=2).sum(axis=0)
    assert heights.max() > 60  # the one frame that is off stands out of its column
    assert len(blue_columns(picture)) > 500


def test_one_frame_without_a_sigma_is_drawn() -> None:
    picture = draw_plot("t", [1001], [Line("x", [0.4], [None]), Line("y", [-0.1], [None])])
    assert picture.shape == (260, 640, 3)
    assert blue_columns(picture).size > 0


def test_another_count_of_values_is_refused() -> None:
    with pytest.raises(ValueError, match=r"2 numbers along the bottom, \[3\] values"):
        draw_plot("t", [1, 2], [Line("x", [1, 2, 3])])
    with pytest.raises(ValueError, match="0 numbers"):
        draw_plot("t", [], [])
