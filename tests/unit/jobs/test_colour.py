"""The list of spaces, and what is said about names outside it."""

import pytest
from pydantic import BaseModel, ValidationError

from glimsum_jobs.colour import (
    DISPLAYS,
    SpaceId,
    WorkingSpaceId,
    describe_spaces,
    find_space,
    find_view,
    find_working_space,
    nearest_space,
)
from glimsum_jobs.errors import SourceError
from glimsum_jobs.spaces import SPACES, WORKING_SPACES


def test_every_encoded_space_names_a_linear_partner_in_the_list() -> None:
    for space in SPACES.values():
        partner = SPACES[space.linear]
        assert partner.kind == ("data" if space.kind == "data" else "linear")
        assert partner.linear == partner.id
        assert (space.curve is None) == (space.kind in ("linear", "data"))


def test_a_space_whose_codes_are_known_says_from_where() -> None:
    for space in SPACES.values():
        assert (space.video_codes == "unknown") == (space.video_source == "")


def test_working_spaces_are_linear_and_have_primaries() -> None:
    assert "lin_ap1_scene" in WORKING_SPACES
    assert "ocio:acescct_ap1_scene" not in WORKING_SPACES
    for name in WORKING_SPACES:
        assert SPACES[name].kind == "linear"
        assert SPACES[name].primaries is not None


def test_list_has_one_line_a_space_with_its_label() -> None:
    lines = describe_spaces().splitlines()

    assert len(lines) == len(SPACES)
    assert any("ocio:slog3_sgamut3cine_scene" in x and "Sony S-Log3" in x for x in lines)


@pytest.mark.parametrize(
    ("asked", "expected"),
    [
        ("ACEScct", "ocio:acescct_ap1_scene"),
        ("acescct_ap1_scene", "ocio:acescct_ap1_scene"),
        ("slog3_sgamut3cine", "ocio:slog3_sgamut3cine_scene"),
        ("S-Log3 S-Gamut3.Cine", "ocio:slog3_sgamut3cine_scene"),
        ("srgb", "srgb_rec709_scene"),
        ("sRGB_rec709", "srgb_rec709_scene"),
        ("ACEScg", "lin_ap1_scene"),
        ("Camera Rec.709", "ocio:itu709_rec709_scene"),
        ("V-Log", "ocio:vlog_vgamut_scene"),
        ("flog2", "glimsum:flog2_rec2020_scene"),
        ("Raw", "data"),
        ("qqqqqqq", None),
        ("", None),
    ],
)
def test_nearest_name_is_found_for_what_people_write(asked: str, expected: str | None) -> None:
    assert expected == nearest_space(asked)


def test_unknown_space_is_refused_with_the_nearest_name() -> None:
    with pytest.raises(SourceError, match=r"seen: ACEScct.*Did you mean ocio:acescct_ap1_scene"):
        find_space("ACEScct")


@pytest.mark.parametrize("asked", ["ACEScct", "qqqqqqq"])
def test_unknown_space_is_refused_with_the_command_that_lists_them(asked: str) -> None:
    with pytest.raises(SourceError, match="`glimsum spaces` lists them"):
        find_space(asked)


def test_encoded_space_is_refused_as_a_working_space() -> None:
    with pytest.raises(SourceError, match=r"seen: srgb_rec709_scene; expected: one of lin_ap1"):
        find_working_space("srgb_rec709_scene")


def test_view_of_another_display_is_refused_with_the_views_offered() -> None:
    assert find_view("srgb_rec709_display", "Un-tone-mapped").config_name == "sRGB - Display"
    with pytest.raises(SourceError, match=r"seen: ACES 2.0 - SDR 100 nits \(P3 D65\).*Rec\.709"):
        find_view("srgb_rec709_display", "ACES 2.0 - SDR 100 nits (P3 D65)")
    with pytest.raises(SourceError, match=r"seen: cinema; expected: one of srgb_rec709_display"):
        find_view("cinema", "Un-tone-mapped")
    assert next(iter(DISPLAYS)) == "srgb_rec709_display"


def test_fields_of_a_job_refuse_unknown_names_as_values() -> None:
    class Named(BaseModel):
        space: SpaceId
        working: WorkingSpaceId = "lin_ap1_scene"

    assert Named(space="data").space == "data"
    with pytest.raises(ValidationError, match="Did you mean ocio:acescct_ap1_scene"):
        Named(space="acescct")
    with pytest.raises(ValidationError, match="not a working space"):
        Named(space="data", working="data")
