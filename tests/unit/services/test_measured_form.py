from glimsum_jobs.measurements import FoundOffset, FoundPass
from glimsum_jobs.tracks import Knock, PassTrack, Placed
from glimsum_services.measured_form import show_pass


def placed(dx: float, source: str = "measured", sigma: float | None = 0.05) -> Placed:
    return Placed(dx=dx, dy=0, rotation_deg=0, scale=1, sigma_px=sigma, trusted=True, source=source)


TRACK = PassTrack(
    frames={
        1001: placed(0.1),
        1002: placed(0.2),
        1003: placed(0.3, "neighbours", None),
        1004: placed(0.4),
    },
    knocks=(Knock(frame=1003, dx=0.8, dy=0.1),),
)


def test_frames_have_the_promised_form_and_sources_are_told_by_runs() -> None:
    shown = show_pass(3, TRACK, None).model_dump()
    assert shown["start_offset"] == 3
    assert shown["frames"][2] == {
        "frame": 1003,
        "dx": 0.3,
        "dy": 0,
        "rotation_deg": 0,
        "scale": 1,
        "sigma_px": None,
        "trusted": True,
    }
    assert shown["sources"] == {"measured": "1001 to 1002, 1004", "neighbours": "1003"}
    assert shown["knocks"] == [{"frame": 1003, "dx": 0.8, "dy": 0.1}]
    assert shown["offset"] is None


def test_a_page_of_frames_leaves_the_rest_whole() -> None:
    shown = show_pass(0, TRACK, None, [1002, 1003, 1009])
    assert [each.frame for each in shown.frames] == [1002, 1003]
    assert shown.sources["measured"] == "1001 to 1002, 1004"


def test_a_pass_that_was_not_placed_has_no_frames() -> None:
    assert show_pass(0, None, None).frames == []


def test_scores_of_start_offsets_are_shown_in_order() -> None:
    sync = FoundOffset(
        margin=0.4, certain=True, frames=(1001, 1005), scores={1: (2.0, 3.0), 0: (1.0, None)}
    )
    found = FoundPass(first=1, start_offset=1, sync=sync, width=8, height=8, count=9, covers=True)
    offset = show_pass(1, TRACK, found).offset
    assert offset is not None
    assert [(c.start_offset, c.scores) for c in offset.candidates] == [
        (0, [1.0, None]),
        (1, [2.0, 3.0]),
    ]
    assert (offset.certain, offset.margin, offset.frames) == (True, 0.4, [1001, 1005])
