"""The harbour shots brought back on to the reference, held against their rendered truth.

Source: ray-traced passes with the true camera of every frame (public domain). One scorer for
three rows: as filmed, moved by the true drift, ours.
"""

import pytest

from support.harbour_alignment import Rows, aligned_run, rows

SHOTS = ["shipped", "moving", "locked"]


@pytest.mark.parametrize("which", SHOTS)
def test_ours_is_as_near_to_the_truth_as_the_true_drift(which: str) -> None:
    for row in rows(which):
        told = f"frame {row.frame}: {_figures(row)}"
        assert row.ours.block_median <= 1.25 * row.true_drift.block_median, told
        assert row.ours.block_p95 <= 1.25 * row.true_drift.block_p95, told


@pytest.mark.parametrize("which", SHOTS)
def test_four_fifths_of_what_drift_costs_is_won_back(which: str) -> None:
    for row in rows(which):
        lost = row.untouched.block_p95 - row.true_drift.block_p95
        assert row.untouched.block_p95 - row.ours.block_p95 >= 0.8 * lost


def test_both_knocks_of_the_locked_shot_are_found_and_no_other() -> None:
    tracks = aligned_run("locked").solved.tracks
    found = {
        name: [knock.frame for knock in track.knocks]
        for name, track in tracks.items()
        if track.knocks
    }
    assert found == {"beauty": [1005], "haze": [1004]}


def _figures(row: Rows) -> str:
    """Return median and 95th percentile as filmed, by the true drift, and ours."""
    told = (row.untouched, row.true_drift, row.ours)
    return ", ".join(f"{100 * t.block_median:.2f}/{100 * t.block_p95:.2f} %" for t in told)
