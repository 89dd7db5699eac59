"""What scores of the harbour's frames tell of a locked camera, a pan, the pace and a lost frame.

Source: ``lead_in_frames`` of the harbour's ``truth.json`` (3 practicals); which offset the flow
finds for every pass is held in `test_start_offsets_harbour`.
"""

from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import shift

from glimsum_workers.engine.registration.prepared import Prepared, prepare
from glimsum_workers.engine.registration.register import register
from glimsum_workers.engine.sync.information import mutual_information
from glimsum_workers.engine.sync.offset import choose_offset
from glimsum_workers.engine.sync.pace import find_breaks, find_pace
from support.harbour_drift import REFERENCE, find_shot, moving_set, pair, prepared


@cache
def score(name: str, frame: int, offset: int) -> float:
    """Return what a frame shares with the file that lies `offset` files from the first one."""
    which = moving_set()
    other = name, frame + offset - int(find_shot(which).pass_facts(name)["lead_in_frames"])
    motion = pair(which, (REFERENCE, frame), other).motion
    still, moved = prepared(which, REFERENCE, frame), prepared(which, *other)
    return mutual_information(still, moved, motion)


def scores(name: str, frames: tuple[int, ...], offsets: range) -> dict[int, list[float]]:
    shot = find_shot(moving_set())
    last = len(shot.pass_facts(name)["frames"]) - 1 - max(frames)
    return {
        offset: [score(name, frame, offset) for frame in frames]
        for offset in offsets
        if offset <= last
    }


def test_frames_of_a_locked_camera_are_too_much_alike_to_tell() -> None:
    table = {
        offset: [
            mutual_information(
                prepared("locked", REFERENCE, frame),
                prepared("locked", "practicals", frame + offset),
                pair("locked", (REFERENCE, frame), ("practicals", frame + offset)).motion,
            )
            for frame in (0, 1, 2)
        ]
        for offset in (0, 1, 2)
    }

    assert not choose_offset(table, moving=False).certain
    assert choose_offset(table, moving=False).offset == 0


@pytest.mark.parametrize("name", ["beauty", "practicals"])
def test_a_camera_that_only_pans_is_asked_about(name: str) -> None:
    # No parallax: SciPy's splines move one picture, as a turn about the lens does nearly.
    shot, rng = find_shot(moving_set()), np.random.default_rng(1)
    lamps = {lamp: shot.alone(lamp).mean(axis=-1) for lamp in ("beauty", "practicals", "haze")}

    def view(light: NDArray[np.float32], x: float, y: float) -> Prepared:
        moved = shift(light, (-y, -x), order=5, mode="nearest")[60:480, 100:860]
        noise = np.sqrt(np.maximum(moved, 0) * 4e-5 + 4e-6)
        return prepare((moved + noise * rng.normal(size=moved.shape)).astype(np.float32))

    frames, offsets = (0, 3, 6), (-1, 0, 1)
    still = {n: view(np.sum(list(lamps.values()), axis=0), 2.37 * n, 0.0) for n in frames}
    moved = {n: view(lamps[name], 2.37 * n + 0.61, 0.33) for n in range(-1, 8)}
    table = {
        offset: [
            mutual_information(
                still[n], moved[n + offset], register(still[n], moved[n + offset]).motion
            )
            for n in frames
        ]
        for offset in offsets
    }

    found = choose_offset(table)

    assert not found.certain
    assert "only turns about its lens" in found.reason


def test_a_pass_that_ran_as_the_reference_did_has_the_same_pace() -> None:
    frames = (0, 1, 2, 3, 4)
    table = scores("practicals", frames, range(2, 5))

    pace = find_pace(frames, table)

    assert pace.same_speed
    assert pace.head == pytest.approx(3.0, abs=0.2)
    assert find_breaks(frames, table) == ()


def test_a_frame_left_out_of_a_pass_is_named() -> None:
    # From frame 3 on the files are taken one further, as if one were missing.
    frames = (0, 1, 2, 3, 4)
    table = {
        offset: [score("practicals", n, offset + (n >= 3)) for n in frames]
        for offset in (1, 2, 3, 4)
    }

    (found,) = find_breaks(frames, table)

    assert (found.frame, found.frames) == (3, -1)
