import pytest
from hypothesis import given
from hypothesis import strategies as st

from glimsum_workers.frames.axes import places_of, round_steps


@pytest.mark.parametrize(
    ("low", "high", "most", "steps"),
    [
        (0.0, 1.0, 6, [0.0, 0.2, 0.4, 0.6, 0.8, 1.0]),
        (-0.93, 0.62, 5, [-0.5, 0.0, 0.5]),
        (1001, 1010, 10, [1001, 1002, 1003, 1004, 1005, 1006, 1007, 1008, 1009, 1010]),
        (1001, 11000, 6, [2000, 4000, 6000, 8000, 10000]),
    ],
)
def test_steps_are_multiples_of_1_2_or_5(
    low: float, high: float, most: int, steps: list[float]
) -> None:
    assert steps == pytest.approx(round_steps(low, high, most))


@given(st.floats(-1e6, 1e6), st.floats(1e-4, 1e6), st.integers(2, 12))
def test_steps_lie_inside_and_are_never_too_many(low: float, length: float, most: int) -> None:
    steps = round_steps(low, low + length, most)
    assert len(steps) <= most
    assert all(low - 1e-6 * length <= step <= low + length * (1 + 1e-6) for step in steps)


def test_as_many_places_are_written_as_tell_steps_apart() -> None:
    assert [
        places_of([0.0, 0.05, 0.1]),
        places_of([0.0, 0.5]),
        places_of([0.0, 2.0]),
        places_of([0.0, 500.0]),
    ] == [2, 1, 0, 0]


@pytest.mark.parametrize(("low", "high", "most"), [(1, 1, 5), (0, 1, 1), (0, float("inf"), 5)])
def test_ends_that_are_none_are_refused(low: float, high: float, most: int) -> None:
    with pytest.raises(ValueError, match=f"no steps from {low} to {high}, {most} at most"):
        round_steps(low, high, most)
