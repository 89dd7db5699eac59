"""The primary correction against OpenColorIO's CDLTransform, and numbers worked by hand."""

from typing import Any

import numpy as np
import PyOpenColorIO
import pytest
from numpy.typing import NDArray

from glimsum_workers.engine.curves import CURVES
from glimsum_workers.engine.primary import Primary, correct_picture

ocio: Any = PyOpenColorIO
AP1 = "lin_ap1_scene"

CORRECTIONS = [
    Primary(
        slope=(1.2, 1.0, 0.9), offset=(0.02, 0.0, -0.01), power=(1.1, 1.0, 0.9), saturation=0.8
    ),
    Primary(slope=(0.7, 1.4, 1.0), offset=(-0.1, 0.05, 0.2), saturation=1.6),
    Primary(power=(1.8, 0.6, 1.0)),
    Primary(saturation=0.0),
    Primary(slope=(2.2, 2.2, 2.2), offset=(-0.3, -0.3, -0.3)),
]


def light(seed: int = 4) -> NDArray[np.float32]:
    """Return light over sixteen stops, with negative noise and lamps beyond what codes hold."""
    draw = np.random.default_rng(seed)
    picture = 2.0 ** draw.uniform(-10, 9, (40, 50, 3))
    picture[:5] = draw.normal(0, 0.01, (5, 50, 3))
    return picture.astype(np.float32)


def acescct_by_opencolorio(values: NDArray[np.float32], *, back: bool) -> NDArray[np.float32]:
    names = ("ACEScct", "ACEScg") if back else ("ACEScg", "ACEScct")
    config = ocio.Config.CreateFromFile("ocio://cg-config-v2.1.0_aces-v1.3_ocio-v2.3")
    processor = config.getProcessor(*names).getOptimizedCPUProcessor(ocio.OPTIMIZATION_LOSSLESS)
    made = np.ascontiguousarray(values, np.float32).copy()
    processor.applyRGB(made)
    return made


def cdl_by_opencolorio(
    codes: NDArray[np.float32], told: Primary, style: Any
) -> NDArray[np.float32]:
    transform = ocio.CDLTransform(
        slope=list(told.slope),
        offset=list(told.offset),
        power=list(told.power),
        sat=told.saturation,
    )
    transform.setStyle(style)
    processor = ocio.Config.CreateRaw().getProcessor(transform)
    made = np.ascontiguousarray(codes, np.float32).copy()
    processor.getOptimizedCPUProcessor(ocio.OPTIMIZATION_LOSSLESS).applyRGB(made)
    return made


@pytest.mark.parametrize("told", CORRECTIONS)
@pytest.mark.parametrize("clamp", [True, False])
def test_slope_offset_power_and_saturation_are_those_of_the_asc_on_acescct_codes(
    told: Primary, clamp: bool
) -> None:
    style = ocio.CDL_ASC if clamp else ocio.CDL_NO_CLAMP
    codes = cdl_by_opencolorio(acescct_by_opencolorio(light(), back=False), told, style)

    made = correct_picture(light(), told, AP1, clamp=clamp)

    held = np.all(np.abs(codes) < 2, axis=2)  # beyond code 2 light is above 2 ** 25
    ours = acescct_by_opencolorio(made, back=False)
    assert held.mean() > 0.6
    np.testing.assert_allclose(ours[held], codes[held], atol=2e-5)


# ASC CDL version 1.2, worked in float64 outside the project; luma by the weights of Rec. 709.
@pytest.mark.parametrize(
    ("codes", "told", "expected"),
    [
        ((0.18, 0.18, 0.18), Primary(slope=(2, 2, 2)), (0.36, 0.36, 0.36)),
        ((0.5, 0.25, 0.1), CORRECTIONS[0], (0.535226, 0.262379, 0.144768)),
        (
            (0.4, 0.4, 0.4),
            Primary(offset=(0.1, -0.1, 0), power=(2, 2, 2), saturation=0),
            (0.12907, 0.12907, 0.12907),
        ),
    ],
)
def test_worked_numbers_come_out(
    codes: tuple[float, ...], told: Primary, expected: tuple[float, ...]
) -> None:
    into = CURVES["acescct"](np.array(codes)).astype(np.float32).reshape(1, 1, 3)

    made = correct_picture(into, told, AP1)

    np.testing.assert_allclose(
        made.ravel(), CURVES["acescct"](np.array(expected)), rtol=4e-5, atol=1e-7
    )


# S-2016-001: code = (log2(light) + 9.72) / 17.52, so an offset of 1 / 17.52 is a stop.
def test_an_offset_of_one_seventeenth_and_a_half_is_a_stop() -> None:
    grey = np.full((1, 1, 3), 0.18, np.float32)

    by_offset = correct_picture(grey, Primary(offset=(1 / 17.52, 1 / 17.52, 1 / 17.52)), AP1)
    by_stops = correct_picture(grey, Primary(stops=1), AP1)

    np.testing.assert_allclose(by_offset, 0.36, rtol=2e-5)
    np.testing.assert_array_equal(by_stops, np.float32(0.18) * 2)


# The clamp of the ASC CDL on ACEScct: code 1 is light 222.8609, code 0 is -0.0069169.
def test_clamped_light_ends_where_the_codes_end_and_masters_keep_it() -> None:
    picture = np.array([[[1000.0] * 3, [-0.5] * 3]], np.float32)
    told = Primary(saturation=0.999999)

    held = correct_picture(picture, told, AP1)
    kept = correct_picture(picture, told, AP1, clamp=False)

    np.testing.assert_allclose(held[0, :, 0], [222.8609, -0.0069169], rtol=1e-4)
    np.testing.assert_allclose(kept[0, :, 0], [1000, -0.5], rtol=1e-4)


def test_the_correction_does_not_depend_on_the_working_space() -> None:
    told = CORRECTIONS[0]
    ap1 = np.array([[[0.3, 0.2, 0.1]]], np.float32)
    config = ocio.Config.CreateFromFile("ocio://cg-config-v2.1.0_aces-v1.3_ocio-v2.3")
    processor = config.getProcessor("ACEScg", "Linear Rec.709 (sRGB)")
    processor = processor.getOptimizedCPUProcessor(ocio.OPTIMIZATION_LOSSLESS)
    rec709, expected = ap1.copy(), correct_picture(ap1, told, AP1).copy()
    processor.applyRGB(rec709)
    processor.applyRGB(expected)

    made = correct_picture(rec709, told, "lin_rec709_scene")

    np.testing.assert_allclose(made, expected, rtol=1e-4)
