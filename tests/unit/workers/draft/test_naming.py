"""Names come from what is a piece's own: its folder, else its files."""

import pytest

from glimsum_workers.draft.naming import name_pieces, pass_name
from glimsum_workers.draft.pieces import group_folders, split_card
from glimsum_workers.draft.records import CameraSetting, Record


def stills(*paths: str, setting: CameraSetting | None = None) -> list[Record]:
    return [Record(path, "jpeg", 8, 8, setting=setting) for path in paths]


def test_a_folder_of_its_own_names_a_pass_whatever_its_files_are_called() -> None:
    records = stills("s/haze/DSC_1.jpg", "s/haze/DSC_2.jpg", "s/key/DSC_1.jpg", "s/key/DSC_2.jpg")

    assert [piece.name for piece in name_pieces(group_folders(records))] == ["haze", "key"]


def test_passes_in_one_folder_are_named_by_their_files() -> None:
    records = stills("beauty.1001.jpg", "beauty.1002.jpg", "haze_0001.jpg", "haze_0002.jpg")

    assert [piece.name for piece in name_pieces(group_folders(records))] == ["beauty", "haze"]


def test_pieces_of_a_card_whose_files_are_called_alike_have_no_name() -> None:
    card = stills("c/DSC_1.jpg", "c/DSC_2.jpg")
    card += stills("c/DSC_3.jpg", "c/DSC_4.jpg", setting=CameraSetting(8, 16, 100))

    assert [piece.name for piece in name_pieces(split_card(card))] == ["", ""]


@pytest.mark.parametrize(
    ("wanted", "name"),
    [("Haze 2", "haze_2"), ("16s", "pass_16s"), ("beauty", "beauty_2"), ("x" * 60, "x" * 36)],
)
def test_any_name_becomes_one_a_pass_may_have_and_no_other_has(wanted: str, name: str) -> None:
    assert pass_name(wanted, ["beauty"]) == name
