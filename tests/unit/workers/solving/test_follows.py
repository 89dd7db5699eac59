"""What was followed as it lies in the finished picture: moving, knocked, or standing still."""

import numpy as np
import pytest
from numpy.typing import NDArray

from glimsum_jobs.follows import Follow, Followed, FollowedFrame, MarkGap
from glimsum_jobs.reading import read_shot
from glimsum_jobs.shot import ShotJob
from glimsum_jobs.tracks import PassTrack, Placed
from glimsum_workers.engine.motion import Motion
from glimsum_workers.engine.planar.homography import carry
from glimsum_workers.measuring.follow_shot import nine_of
from glimsum_workers.solving.follows import matrix_of, solve_follows, tell_follows
from unit.jobs.example_jobs import small_job

SIZE = (540, 960)
CORNERS = [[100.0, 80], [200, 82], [198, 150], [101, 149]]


def job_of(camera: str) -> ShotJob:
    board = {
        "files": "plates:board.png",
        "space": "srgb_rec709_scene",
        "corners": [{"frame": 1002, "points": CORNERS}],
    }
    recipe = [{"pass": "beauty"}, {"insert": "board"}]
    job, _ = read_shot(small_job(camera=camera, inserts={"board": board}, recipe=recipe))
    return job


def shifted(x: float, y: float) -> NDArray[np.float64]:
    matrix = np.eye(3)
    matrix[:2, 2] = x, y
    return matrix


def followed(shifts: dict[int, tuple[float, float]], lost: tuple[int, ...] = ()) -> Followed:
    frames = {
        frame: FollowedFrame(
            matrix=nine_of(shifted(*shift)),
            sigma_px=0.03,
            trusted=frame not in lost,
            reason="nothing like the patch" if frame in lost else "",
        )
        for frame, shift in shifts.items()
    }
    gaps = (MarkGap(frame=1005, gaps_px=(0.2, 2.5, 0.1, 0.1), sigma_px=0.05),)
    follow = Follow(anchor=1002, frames=frames)
    return Followed(patch="insert:board", model="homography", follow=follow, mark_gaps=gaps)


def knocked(frame: int, x: float, y: float) -> PassTrack:
    """Return the track of a reference that was knocked before a frame."""

    def placed(dx: float, dy: float) -> Placed:
        return Placed(
            dx=dx, dy=dy, rotation_deg=0, scale=1, sigma_px=0.01, trusted=True, source="measured"
        )

    return PassTrack(
        frames={f: placed(x, y) if f >= frame else placed(0, 0) for f in range(1001, 1007)}
    )


def test_a_moving_camera_leaves_it_as_it_was_followed() -> None:
    told = followed({f: (1.5 * (f - 1002), 0.0) for f in range(1001, 1007)})

    assert solve_follows(job_of("moving"), [told], {}, SIZE) == {"insert:board": told.follow}


def test_a_knock_of_the_reference_is_taken_out_with_its_pictures() -> None:
    noise = np.random.default_rng(0).normal(0, 0.02, (6, 2))
    shifts = {
        frame: (4.0 * (frame >= 1004) + float(noise[i, 0]), float(noise[i, 1]))
        for i, frame in enumerate(range(1001, 1007))
    }
    tracks = {"beauty": knocked(1004, 4.0, 0.0)}

    solved = solve_follows(job_of("locked"), [followed(shifts)], tracks, SIZE)["insert:board"]

    anchor = solved.frames[1002].matrix
    assert {each.matrix for each in solved.frames.values()} == {anchor}


def test_what_moves_in_a_locked_shot_is_followed() -> None:
    shifts = {frame: (0.5 * (frame - 1002), 0.0) for frame in range(1001, 1007)}
    tracks = {"beauty": knocked(1004, 4.0, 0.0)}

    solved = solve_follows(job_of("locked"), [followed(shifts)], tracks, SIZE)["insert:board"]

    marked = np.array(CORNERS)
    matrices = [np.reshape(each.matrix, (3, 3)) for each in solved.frames.values()]
    away = [float((carry(matrix, marked) - marked)[0, 0]) for matrix in matrices]
    assert away == pytest.approx([-0.5, 0.0, 0.5, 1.0 - 4, 1.5 - 4, 2.0 - 4])


def test_lost_frames_and_marks_that_disagree_are_told_in_numbers() -> None:
    told = followed(dict.fromkeys(range(1001, 1007), (0.0, 0.0)), lost=(1003, 1004))

    lost, apart = tell_follows(job_of("moving"), [told], {"insert:board": told.follow})

    assert lost.seen == "frames 1003 to 1004; on frame 1003: nothing like the patch"
    assert lost.remedy == "Mark it on frame 1003 too; more marks correct it."
    assert apart.place.frame == 1005
    assert apart.seen == "point 2 marked 2.5 px from where the mark of frame 1002 is followed to"


def test_a_motion_as_a_homography_moves_points_as_it_does() -> None:
    motion = Motion(3.2, -1.1, 0.7, 1.01)
    points = np.array(CORNERS)

    np.testing.assert_allclose(carry(matrix_of(motion, SIZE), points), motion.at(points, SIZE))
