"""A card is cut where the work of the evening left its marks."""

from datetime import datetime, timedelta
from fractions import Fraction

from glimsum_workers.draft.pieces import group_folders, split_card
from glimsum_workers.draft.records import CameraSetting, ClipTags, Record, time_words

EVENING = datetime(2026, 3, 4, 21, 0, 0)  # noqa: DTZ001  -- a camera's clock has no zone
LONG = CameraSetting(8, 16, 100)
SHORT = CameraSetting(1 / 2, 16, 100)


def shots(
    count: int,
    *,
    first: int = 1,
    setting: CameraSetting | None = LONG,
    begun: datetime | None = None,
    every_s: float = 12,
    stem: str = "card/dsc_",
) -> list[Record]:
    """Return `count` stills of one run."""
    return [
        Record(
            path=f"{stem}{first + k:04d}.jpg",
            kind="jpeg",
            width=960,
            height=540,
            setting=setting,
            captured=begun + timedelta(seconds=every_s * k) if begun else None,
        )
        for k in range(count)
    ]


def test_a_change_of_exposure_begins_a_new_piece() -> None:
    pieces = split_card(shots(5) + shots(4, first=6, setting=SHORT))

    assert [(p.first, p.last, p.setting) for p in pieces] == [(1, 5, LONG), (6, 9, SHORT)]
    assert [piece.files for piece in pieces] == ["card/dsc_%04d.jpg"] * 2
    assert tuple(piece.remarks for piece in pieces) == ((), ("the exposure changes before it",))


def test_a_long_pause_begins_a_new_piece_and_a_slow_rig_does_not() -> None:
    first = shots(5, begun=EVENING)
    second = shots(5, first=6, begun=EVENING + timedelta(minutes=20))
    slow = shots(8, begun=EVENING, every_s=90)

    assert [piece.pictures for piece in split_card(first + second)] == [5, 5]
    assert split_card(first + second)[1].remarks == ("a long pause lies before it",)
    assert [piece.pictures for piece in split_card(slow)] == [8]


def test_pieces_come_in_the_order_they_were_shot_even_when_the_numbers_begin_again() -> None:
    late = shots(3, first=1, begun=EVENING + timedelta(seconds=36))
    early = shots(3, first=9997, begun=EVENING)

    pieces = split_card(late + early)

    assert [(piece.first, piece.last) for piece in pieces] == [(9997, 9999), (1, 3)]
    assert pieces[1].remarks == ("the camera's numbers began again before it",)


def test_a_run_twice_as_long_as_the_other_passes_is_taken_for_two() -> None:
    card = shots(6) + shots(6, first=7, setting=SHORT) + shots(12, first=13)

    pieces = split_card(card)

    assert [(p.first, p.last) for p in pieces] == [(1, 6), (7, 12), (13, 18), (19, 24)]
    assert "whole multiple" in pieces[3].remarks[0]


def test_pictures_of_another_size_and_clips_are_pieces_of_their_own() -> None:
    small = Record("card/dsc_0006.jpg", "jpeg", 480, 270, setting=LONG)
    tags = ClipTags(Fraction(24), "limited", None)
    clip = Record("card/move01.mp4", "clip", 960, 540, pictures=24, clip=tags)

    pieces = {piece.files: piece for piece in split_card([*shots(5), small, clip])}
    moved = pieces["card/move01.mp4"]

    assert set(pieces) == {"card/dsc_%04d.jpg", "card/dsc_0006.jpg", "card/move01.mp4"}
    assert pieces["card/dsc_0006.jpg"].is_held
    assert (moved.pictures, moved.first) == (24, None)


def test_folders_give_one_piece_a_sequence() -> None:
    records = shots(3, stem="haze/h.", first=101) + shots(2, stem="beauty/b.", first=86400)

    pieces = group_folders(records)

    assert [(piece.files, piece.first, piece.pictures) for piece in pieces] == [
        ("beauty/b.%05d.jpg", 86400, 2),
        ("haze/h.%04d.jpg", 101, 3),
    ]


def test_unlike_exposures_missing_files_and_steps_are_remarked_in_a_folder() -> None:
    odd = shots(3, stem="haze/h.", first=1) + shots(1, stem="haze/h.", first=6, setting=SHORT)
    turned = [shots(1, stem="lamp/l.", first=n)[0] for n in (1, 4, 7)]

    haze, lamp = group_folders(odd + turned)

    assert haze.setting is None
    assert haze.remarks == (
        "exposure changes at haze/h.0006.jpg: 8 s f/16 ISO 100 before, 0.5 s f/16 ISO 100 "
        "from there",
        "files are missing: 4 to 5",
    )
    assert lamp.remarks == ("its file numbers rise by 3: were lamps fired in turn? "
                            "then add step: 3",)  # fmt: skip


def test_a_percent_sign_in_a_name_is_doubled_and_unpadded_numbers_stay_unpadded() -> None:
    half = [Record(f"50%/b{n}.tif", "tiff", 8, 8) for n in (9, 10, 11)]

    assert group_folders(half)[0].files == "50%%/b%d.tif"


def test_exposure_times_are_written_as_a_camera_shows_them() -> None:
    assert [time_words(seconds) for seconds in (1 / 60, 0.125, 0.5, 8.0, 2.5)] == [
        "1/60",
        "1/8",
        "0.5",
        "8",
        "2.5",
    ]
