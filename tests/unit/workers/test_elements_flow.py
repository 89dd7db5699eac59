"""Elements from their files into the frame: checked, read, placed, kept out, laid."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from glimsum_jobs.errors import LightError
from glimsum_jobs.follows import Follow, FollowedFrame
from glimsum_jobs.measurements import Checked, Solved
from glimsum_jobs.problems import Problem, Rank
from glimsum_workers.check_shot import check_shot
from glimsum_workers.checking.elements import look_at_element
from glimsum_workers.frames.roots import Roots
from glimsum_workers.looking.one_frame import Still, make_still
from glimsum_workers.steps.elements import ShotElements
from support.small_shots import exr_pass, flat, small_roots, small_shot, write_exr_pass

FILES = "plates:boat/boat.%04d.exr"
BOAT = {"files": FILES, "space": "lin_ap1_scene"}


def boat_of(number: int) -> np.ndarray[Any, np.dtype[np.float32]]:
    """Return a picture of the element, 12 x 20, premultiplied: its number in red, half covered."""
    return flat([number, 0.25, 0.125, 0.5], 12, 20)


@pytest.fixture
def plates(tmp_path: Path) -> Path:
    write_exr_pass(tmp_path, "beauty", {n: flat([0.2, 0.2, 0.2]) for n in (1, 2, 3)})
    write_exr_pass(tmp_path, "boat", {n: boat_of(n) for n in (5, 6)})
    return tmp_path


def job_of(told: dict[str, Any], operator: str = "over", **more: Any) -> Any:
    recipe = [{"pass": "beauty"}, {"element": "boat", "operator": operator}]
    passes = {"beauty": exr_pass("beauty"), **more.pop("passes", {})}
    return small_shot(passes=passes, elements={"boat": {**BOAT, **told}}, recipe=recipe, **more)


def problems_of(plates: Path, told: dict[str, Any], operator: str = "over") -> list[Problem]:
    return look_at_element(
        job_of(told, operator), "boat", Roots(small_roots(plates)), (36, 64)
    ).problems


def still(plates: Path, frame: int, told: dict[str, Any], **more: Any) -> Still:
    return make_still(job_of(told, **more), frame, Roots(small_roots(plates)), plates / "kept")


def test_a_loop_is_checked_read_and_laid_over(plates: Path) -> None:
    told = {"beyond": "loop", "place": [{"frame": 1001, "x": 10, "y": 4}]}

    reds = []
    for frame in (1001, 1002, 1003):
        made = still(plates, frame, told)
        reds.append(float(made.rgb[10, 15, 0]))
        # Porter & Duff 1984: colour + (1 - 0.5) * 0.2
        np.testing.assert_allclose(made.rgb[4:16, 10:30, 1], 0.25 + 0.1, rtol=1e-6)
        np.testing.assert_allclose(made.rgb[:4], 0.2, rtol=1e-6)

    np.testing.assert_allclose(reds, [5.1, 6.1, 5.1], rtol=1e-6)


def test_an_element_is_on_its_frames_alone(plates: Path) -> None:
    told = {"frames": {"first": 1002, "last": 1003}, "place": [{"frame": 1001, "x": 10, "y": 4}]}

    before, on = (still(plates, frame, told) for frame in (1001, 1002))

    np.testing.assert_allclose(before.rgb, 0.2, rtol=1e-6)
    assert on.rgb[10, 15, 0] == pytest.approx(5.1)


def test_it_goes_where_its_places_say_about_its_centre(plates: Path) -> None:
    told = {
        "beyond": "hold",
        "pivot": "centre",
        "place": [{"frame": 1001, "x": 20, "y": 12}, {"frame": 1003, "x": 40, "y": 20}],
    }

    made = still(plates, 1002, told)

    covered = made.rgb[..., 0] > 1
    rows, columns = np.nonzero(covered)
    assert (rows.mean() + 0.5, columns.mean() + 0.5) == (16, 30)
    assert covered.sum() == 12 * 20


def test_a_holdout_keeps_it_out(plates: Path) -> None:
    # Left half held out.
    weight = np.zeros((36, 64, 3), np.float32)
    weight[:, :20] = 1
    write_exr_pass(plates, "held", dict.fromkeys((1, 2, 3), weight))
    told = {"holdout": "held", "beyond": "loop", "place": [{"frame": 1001, "x": 10, "y": 4}]}
    mattes = {"held": {"files": "plates:held/held.%04d.exr"}}

    made = still(plates, 1001, told, mattes=mattes)

    np.testing.assert_allclose(made.rgb[4:16, 10:20, 0], 0.2, rtol=1e-6)
    np.testing.assert_allclose(made.rgb[4:16, 20:30, 0], 5.1, rtol=1e-6)


def test_straight_colour_of_a_png_is_multiplied_as_light(plates: Path) -> None:
    card = np.zeros((12, 20, 4), np.uint8)
    card[...] = (188, 188, 188, 51)  # sRGB 188 is light 0.5029 (IEC 61966-2-1); coverage 0.2
    Image.fromarray(card).save(plates / "card.png")
    told = {"files": "plates:card.png", "space": "srgb_rec709_scene"}

    made = still(plates, 1002, told)

    np.testing.assert_allclose(made.rgb[2, 2], 0.2 * 0.5029 + 0.8 * 0.2, rtol=2e-3)


def shot(plates: Path, told: dict[str, Any]) -> tuple[ShotElements, Checked]:
    job = job_of(told)
    roots = Roots(small_roots(plates))
    checked = check_shot(job, roots)
    assert not checked.refused
    return ShotElements(job, checked, roots), checked


def solved_with(frames: dict[int, FollowedFrame]) -> Solved:
    follows = {"element:boat": Follow(anchor=1001, frames=frames)} if frames else {}
    return Solved(averages={}, levels={}, revision="", follows=follows)


FOLLOWED = {
    "follow": "reference",
    "beyond": "hold",
    "place": [{"frame": 1001, "x": 10, "y": 4}],
}


def shifted(right: float, down: float) -> FollowedFrame:
    return FollowedFrame(
        matrix=(1, 0, right, 0, 1, down, 0, 0, 1), sigma_px=0.1, trusted=True, source="measured"
    )


@pytest.mark.parametrize("anchor", [(0, 0), (30, -10)])
def test_it_goes_where_what_it_follows_goes_from_the_frame_it_is_placed_on(
    plates: Path, anchor: tuple[float, float]
) -> None:
    right, down = anchor
    solved = solved_with({1001: shifted(right, down), 1002: shifted(right + 7, down - 2)})
    elements, _ = shot(plates, FOLLOWED)

    laid = elements.on_frame("boat", 1002, solved, (36, 64))

    assert laid is not None
    assert laid.alpha is not None
    assert laid.alpha[2:14, 17:37].min() == 0.5
    assert laid.alpha.sum() == 12 * 20 * 0.5


def test_where_it_lost_what_it_follows_the_frame_is_named(plates: Path) -> None:
    elements, _ = shot(plates, FOLLOWED)

    with pytest.raises(LightError, match="element boat follows was not found") as refused:
        elements.on_frame("boat", 1002, solved_with({1001: shifted(0, 0)}), (36, 64))

    assert refused.value.place.frame == 1002
    assert refused.value.seen == "found on frames 1001"
    assert refused.value.expected == "a place on frame 1002"
    assert "frames" in refused.value.remedy


def test_its_fingerprint_changes_with_all_that_changes_its_pixels(plates: Path) -> None:
    elements, _ = shot(plates, {"beyond": "loop"})
    nothing = solved_with({})
    told: list[dict[str, Any]] = [
        {"beyond": "loop", "softness": 1},
        {"beyond": "loop", "alpha": "straight"},
        {"beyond": "loop", "place": [{"frame": 1, "x": 0.5, "y": 0}]},
        {"beyond": "loop", "frames": {"first": 1003, "last": 1003}},
    ]

    first = elements.fingerprint("boat", 1001, nothing)

    assert first == elements.fingerprint("boat", 1003, nothing)  # the loop shows one file again
    assert first != elements.fingerprint("boat", 1002, nothing)
    for each in told:
        assert first != shot(plates, each)[0].fingerprint("boat", 1001, nothing)


def test_a_sound_element_has_no_problem(plates: Path) -> None:
    assert problems_of(plates, {"beyond": "hold", "place": [{"frame": 1001, "x": 0, "y": 0}]}) == []


@pytest.mark.parametrize(
    ("told", "rank", "what", "numbers"),
    [
        (
            {"place": [{"frame": 1001, "x": 0, "y": 0}]},
            Rank.STOPS_SHOT,
            "the element ends before frame 1003",
            ("files 5 to 6; none for frames 1003", "number 7 for frame 1003"),
        ),
        (
            {"first": 4, "place": [{"frame": 1001, "x": 0, "y": 0}]},
            Rank.STOPS_FRAME,
            "the element has no file for this frame",
            ("no file with number 4", "a file with number 4"),
        ),
        (
            {"beyond": "hold"},
            Rank.REMARK,
            "the element has another size than the picture and no place",
            ("20 x 12 pixels", "64 x 36 pixels"),
        ),
        (
            {"beyond": "hold", "alpha": "none", "place": [{"frame": 1001, "x": 0, "y": 0}]},
            Rank.REMARK,
            "element boat hides everything behind its rectangle",
            ("operator: over, and no coverage", "operator: plus"),
        ),
        (
            {"beyond": "hold", "place": [{"frame": 1001, "x": 90, "y": -3, "rotation": 90}]},
            Rank.REMARK,
            "the element lies beside the picture on every frame",
            ("x 78.0 to 90.0, y -3.0 to 17.0", "within 0 to 64 and 0 to 36"),
        ),
        (
            {"files": "plates:boat/none.%04d.exr"},
            Rank.STOPS_SHOT,
            "no file",
            ("boat", ""),
        ),
    ],
)
def test_what_is_wrong_with_the_files_is_told_with_numbers(
    plates: Path, told: dict[str, Any], rank: Rank, what: str, numbers: tuple[str, str]
) -> None:
    (problem,) = problems_of(plates, told)

    assert what in problem.what
    assert problem.rank is rank
    assert numbers[0] in f"{problem.seen} {problem.place}"
    assert numbers[1] in problem.expected
    assert problem.place.field == "elements.boat"


def test_coverage_that_is_stated_has_to_be_there(plates: Path) -> None:
    write_exr_pass(plates, "boat", {n: boat_of(n)[..., :3] for n in (5, 6)})

    told = problems_of(plates, {"beyond": "hold", "alpha": "straight"}, "plus")

    stops = [each for each in told if each.rank is Rank.STOPS_SHOT]
    assert [each.what for each in stops] == ["the files of element boat hold no coverage"]
    assert stops[0].seen == "channels R, G, B; alpha: straight"


def test_a_file_of_another_size_stops_its_frame(plates: Path) -> None:
    write_exr_pass(plates, "boat", {6: flat([1, 1, 1, 1], 10, 20)})
    told = {"beyond": "hold", "place": [{"frame": 1001, "x": 0, "y": 0}]}

    problems = problems_of(plates, told)

    assert [(each.rank, each.place.frame) for each in problems] == [
        (Rank.STOPS_FRAME, 1002),
        (Rank.STOPS_FRAME, 1003),
    ]
    assert problems[0].seen == "20 x 10 pixels"
    assert problems[0].expected == "20 x 12 pixels"
