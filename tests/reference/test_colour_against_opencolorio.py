"""Decoding, matrices and viewing against OpenColorIO's own way, and primaries by hand."""

import warnings
from typing import Any

import numpy as np
import PyOpenColorIO
import pytest
from numpy.typing import NDArray

from glimsum_jobs.colour import DISPLAYS
from glimsum_jobs.spaces import CONFIG, SPACES, WORKING_SPACES
from glimsum_workers.engine.codes import FloatPixels
from glimsum_workers.engine.encodings import decode
from glimsum_workers.engine.spaces import luminance_weights, matrix_between, xyz_from_rgb
from glimsum_workers.engine.viewing import Viewing

with warnings.catch_warnings():
    # colour-science says at import that it can't draw diagrams.
    warnings.filterwarnings("ignore", message='.*"Matplotlib" related API features')
    import colour

ocio: Any = PyOpenColorIO
IN_CONFIG = [s.id for s in SPACES.values() if s.config_name and s.kind != "data"]


def by_library(values: NDArray[np.float32], source: str, target: str) -> NDArray[np.float32]:
    """Convert (n, m, 3) values by the whole processor of the library, without optimisation."""
    pixels = np.ascontiguousarray(values).copy()
    config = ocio.Config.CreateFromFile(CONFIG)
    config.getProcessor(
        SPACES[source].config_name, SPACES[target].config_name
    ).getOptimizedCPUProcessor(ocio.OPTIMIZATION_NONE).apply(
        ocio.PackedImageDesc(pixels, pixels.shape[1], pixels.shape[0], 3)
    )
    return pixels


def test_list_names_the_library_s_own_ids_and_leaves_out_what_is_no_camera_or_picture() -> None:
    config = ocio.Config.CreateFromFile(CONFIG)
    known = {
        space.getInteropID(): space.getName()
        for space in config.getColorSpaces()
        if space.getReferenceSpaceType() == ocio.REFERENCE_SPACE_SCENE
    }
    listed = {s.id: s.config_name for s in SPACES.values() if s.config_name}

    assert {i: known[i] for i in listed} == listed
    # Two densities of scanned film, and a log and a linear space of a grading program.
    assert len(set(known) - set(listed)) == 4
    for name, display in DISPLAYS.items():
        assert config.getColorSpace(display.config_name).getInteropID() == name
        assert set(display.views) <= set(config.getViews(display.config_name))


@pytest.mark.parametrize("space", IN_CONFIG)
def test_decode_and_matrix_agree_with_the_library_s_whole_way(space: str) -> None:
    rng = np.random.default_rng(3)
    low, high = (0.1, 0.75) if SPACES[space].curve else (-0.5, 20)
    values = rng.uniform(low, high, (32, 32, 3)).astype(np.float32)

    light = decode(FloatPixels(values), space).picture.rgb
    ours = light @ matrix_between(space, "lin_ap1_scene").T

    theirs = by_library(values, space, "lin_ap1_scene")
    # The toes of BT.709 and D-Log differ as told in test_curves_published.
    if space == "ocio:acescc_ap1_scene":
        # There the configuration cuts colours outside AP0 off at 0; we keep them.
        inside = (ours @ matrix_between("lin_ap1_scene", "lin_ap0_scene").T > 0).all(axis=-1)
        assert 0.3 < inside.mean() < 1
        ours, theirs = ours[inside], theirs[inside]
    scale = np.abs(ours).max(axis=-1, keepdims=True)
    assert np.max(np.abs(ours - theirs) / scale) < (1e-3 if SPACES[space].curve else 2e-6)


@pytest.mark.parametrize("space", IN_CONFIG)
def test_matrix_is_the_library_s_answer_to_unit_vectors(space: str) -> None:
    linear = SPACES[space].linear
    units = by_library(np.eye(3, dtype=np.float32)[np.newaxis], linear, "lin_ap0_scene")[0]

    np.testing.assert_allclose(matrix_between(space, "lin_ap0_scene"), units.T, atol=3e-7)


def test_rec709_to_ap1_has_the_published_digits() -> None:
    # Bradford; six digits on which OpenColorIO and colour-science agree.
    expected = [
        [0.613097, 0.339523, 0.047379],
        [0.070194, 0.916354, 0.013452],
        [0.020616, 0.109570, 0.869815],
    ]

    np.testing.assert_allclose(
        matrix_between("srgb_rec709_scene", "lin_ap1_scene"), expected, atol=1e-6
    )


@pytest.mark.parametrize(
    ("space", "name"),
    [
        ("lin_ap1_scene", "ACEScg"),
        ("lin_ap0_scene", "ACES2065-1"),
        ("lin_rec709_scene", "ITU-R BT.709"),
        ("lin_rec2020_scene", "ITU-R BT.2020"),
        ("lin_p3d65_scene", "P3-D65"),
        ("lin_adobergb_scene", "Adobe RGB (1998)"),
    ],
)
def test_primaries_of_working_spaces_agree_with_colour_science(space: str, name: str) -> None:
    published = colour.RGB_COLOURSPACES[name]
    primaries = SPACES[space].primaries
    assert primaries is not None

    np.testing.assert_allclose(primaries[:3], published.primaries, atol=1e-6)
    np.testing.assert_allclose(primaries[3], published.whitepoint, atol=1e-6)
    # The library computes the matrix itself for some and prints four to ten digits for others.
    np.testing.assert_allclose(xyz_from_rgb(space), published.matrix_RGB_to_XYZ, atol=6e-5)


def test_every_working_space_is_checked() -> None:
    assert len(WORKING_SPACES) == 6


def test_working_space_primaries_give_the_configuration_s_matrices() -> None:
    # By hand: Bradford between the whites, primaries from the list; the configuration's matrices
    # come from its own makers.
    ap1 = colour.RGB_COLOURSPACES["ACEScg"]
    for space in WORKING_SPACES:
        primaries = SPACES[space].primaries
        assert primaries is not None
        adapt = colour.adaptation.matrix_chromatic_adaptation_VonKries(
            colour.xy_to_XYZ(primaries[3]), colour.xy_to_XYZ(ap1.whitepoint), "Bradford"
        )
        expected = np.linalg.solve(xyz_from_rgb("lin_ap1_scene"), adapt @ xyz_from_rgb(space))
        np.testing.assert_allclose(matrix_between(space, "lin_ap1_scene"), expected, atol=2e-6)


@pytest.mark.parametrize(
    ("space", "weights"),
    # BT.709-6 item 3.2; BT.2020-2 table 4; S-2014-004 (from memory, four or more digits each).
    [
        ("srgb_rec709_scene", [0.2126, 0.7152, 0.0722]),
        ("lin_rec2020_scene", [0.2627, 0.6780, 0.0593]),
        ("lin_ap1_scene", [0.2722287, 0.6740818, 0.0536895]),
    ],
)
def test_luminance_weights_are_the_printed_ones(space: str, weights: list[float]) -> None:
    np.testing.assert_allclose(luminance_weights(space), weights, atol=5.1e-5)


def lit_set() -> NDArray[np.float32]:
    """Return an invented picture: warm lamps on a cool set, soft edges, noise, some negatives."""
    rng = np.random.default_rng(11)
    y, x = np.mgrid[0:180, 0:320].astype(np.float64)
    cool = 0.08 * (1 + np.sin(x / 37) * np.cos(y / 23))[..., np.newaxis] * [0.6, 0.9, 1.3]
    picture = cool
    for centre_x, centre_y, strength in ((70, 60, 9), (200, 120, 3), (260, 40, 25)):
        glow = np.exp(-((x - centre_x) ** 2 + (y - centre_y) ** 2) / 300)
        picture = picture + strength * glow[..., np.newaxis] * [1.0, 0.55, 0.2]
    return np.asarray(picture + rng.normal(0, 0.01, picture.shape), dtype=np.float32)


@pytest.mark.parametrize("display", DISPLAYS)
def test_table_of_a_view_is_within_the_stated_error_of_the_exact_way(display: str) -> None:
    view = DISPLAYS[display].views[0]
    picture = lit_set()
    exact = picture.copy()
    config = ocio.Config.CreateFromFile(CONFIG)
    config.getProcessor(
        ocio.DisplayViewTransform(src="ACEScg", display=DISPLAYS[display].config_name, view=view)
    ).getOptimizedCPUProcessor(ocio.OPTIMIZATION_NONE).apply(
        ocio.PackedImageDesc(exact, 320, 180, 3)
    )
    exact_codes = np.clip(exact, 0, 1).astype(np.float64) * 255

    by_table = Viewing(display=display, view=view).apply(picture)
    plain = np.abs(Viewing(display=display, view=view, exact=True).apply(picture) - exact_codes)
    table = np.abs(by_table - exact_codes)

    assert plain.max() <= 0.51
    # Half a code of rounding comes on top of the table's own error.
    assert table.mean() < 0.4
    assert np.percentile(table, 99.9) < 1.5
    assert np.mean(np.abs(by_table - np.rint(exact_codes)) > 1) < 5e-4
    assert table.max() < 4


def test_table_serves_other_working_spaces_alike() -> None:
    picture = lit_set()
    in_ap1 = (picture @ matrix_between("lin_rec709_scene", "lin_ap1_scene").T).astype(np.float32)

    ours = Viewing("lin_rec709_scene").apply(picture).astype(int)

    assert np.abs(ours - Viewing().apply(in_ap1)).max() <= 1
