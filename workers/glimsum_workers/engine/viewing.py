"""From scene-linear light to the codes of a display, for viewing copies and previews."""

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.colour import DISPLAYS, find_view, find_working_space
from glimsum_workers.engine.codes import Image
from glimsum_workers.engine.spaces import load_config, matrix_between, ocio

DisplayCodes = NDArray[np.uint8]
"""Codes for a display: uint8, (height, width, 3), R G B, full range, encoded."""

_TABLE_SPACE = "lin_ap1_scene"
_GRID = 97
_DARKEST, _TOE, _BRIGHTEST = -0.1, 0.02, 64.0


@dataclass(frozen=True)
class Viewing:
    """The way from one working space to one display.

    Attributes
    ----------
    working_space : str
        Interop ID of the working space.
    display : str
        Interop ID of the display.
    view : str
        One of the views our list offers for the display.
    exact : bool
        Take the configuration's own arithmetic for every pixel. Otherwise the ACES 2.0 views,
        which need about 0.6 microseconds a pixel, go through a table.

    Raises
    ------
    SourceError
        When working space, display or view are not in our lists.

    Notes
    -----
    The table has 97 x 97 x 97 points in AP1, evenly spaced on a scale that is straight from
    -0.1 to 0.02 and logarithmic to 64, read by tetrahedra. Measured against the exact way on
    pictures of lit sets (two levels, with and without noise): mean error 0.1 code of 255, 99.9
    of 100 samples within 0.8; after rounding a tenth of the samples differ by one code, and by
    two 5 in a million on the sRGB and P3 displays; on the displays with a pure power curve 2 in
    ten thousand by up to four, next to black. Grey scale: 0.06. Random colours as strong as the
    primaries themselves: 99.9 % within 11, worst 36, at the edge of the gamut. Light below -0.1
    and above 64 shows as -0.1 and 64. Baking takes about 0.9 s a process and display; after
    that 960 x 540 takes some 12 to 20 ms instead of 310 ms, 1920 x 1080 some 60 instead of
    1400 (two shared cores).
    """

    working_space: str = "lin_ap1_scene"
    display: str = "srgb_rec709_display"
    view: str = "ACES 2.0 - SDR 100 nits (Rec.709)"
    exact: bool = False

    def __post_init__(self) -> None:
        """Check the names against our lists."""
        find_working_space(self.working_space)
        find_view(self.display, self.view)

    def apply(self, rgb: Image) -> DisplayCodes:
        """Return display codes of a picture.

        Parameters
        ----------
        rgb : Image
            Scene-linear in the working space, finite; negative values and values above 1 are
            welcome. Not changed.

        Returns
        -------
        DisplayCodes
            uint8, (height, width, 3), rounded to the nearest code.
        """
        source = np.ascontiguousarray(rgb, dtype=np.float32)
        height, width, _ = source.shape
        codes = np.empty(source.shape, dtype=np.uint8)
        _processor(self).apply(
            ocio.PackedImageDesc(source, width, height, 3),
            ocio.PackedImageDesc(codes, width, height, 3, ocio.BIT_DEPTH_UINT8, 1, 3, 3 * width),
        )
        return codes


@lru_cache(maxsize=8)
def _processor(viewing: Viewing) -> Any:
    if viewing.exact or not viewing.view.startswith("ACES"):
        config = load_config()
        way = _display_transform(viewing.working_space, viewing.display, viewing.view)
    else:
        # A configuration remembers its processors by a text that leaves the points of a table
        # out, and would hand one display's table to another: ask one that remembers nothing.
        config = ocio.Config.CreateRaw()
        config.setProcessorCacheFlags(ocio.PROCESSOR_CACHE_OFF)
        matrix = np.eye(4)
        matrix[:3, :3] = matrix_between(viewing.working_space, _TABLE_SPACE)
        way = ocio.GroupTransform(
            [
                ocio.MatrixTransform(matrix=matrix.ravel().tolist()),
                _scale(),
                _table(viewing.display, viewing.view),
            ]
        )
    return config.getProcessor(way).getOptimizedCPUProcessor(
        ocio.BIT_DEPTH_F32,
        ocio.BIT_DEPTH_UINT8,
        ocio.OPTIMIZATION_LOSSLESS,
    )


def _display_transform(working_space: str, display: str, view: str) -> Any:
    return ocio.DisplayViewTransform(
        src=find_working_space(working_space).config_name,
        display=DISPLAYS[display].config_name,
        view=view,
    )


def _on_scale(light: float) -> float:
    """Return log2 of light, continued by its tangent below the toe."""
    if light > _TOE:
        return math.log2(light)
    return math.log2(_TOE) + (light - _TOE) / (_TOE * math.log(2))


def _scale() -> Any:
    """Return the way from light to the table's 0..1."""
    low, high = _on_scale(_DARKEST), _on_scale(_BRIGHTEST)
    scale = ocio.LogCameraTransform([_TOE] * 3)
    scale.setBase(2)
    scale.setLogSideSlopeValue([1 / (high - low)] * 3)
    scale.setLogSideOffsetValue([-low / (high - low)] * 3)
    return scale


@lru_cache(maxsize=4)
def _table(display: str, view: str) -> Any:
    """Return the view as a table over the scale, filled by the exact way."""
    low, high = _on_scale(_DARKEST), _on_scale(_BRIGHTEST)
    places = np.linspace(low, high, _GRID)
    toe = math.log2(_TOE)
    light = np.where(places > toe, np.exp2(places), _TOE + (places - toe) * _TOE * math.log(2))
    red, green, blue = np.meshgrid(light, light, light, indexing="ij")
    points = np.ascontiguousarray(np.stack([red, green, blue], axis=-1), dtype=np.float32)
    load_config().getProcessor(
        _display_transform(_TABLE_SPACE, display, view)
    ).getOptimizedCPUProcessor(ocio.OPTIMIZATION_LOSSLESS).apply(
        ocio.PackedImageDesc(points, _GRID * _GRID, _GRID, 3)
    )
    table = ocio.Lut3DTransform(gridSize=_GRID)
    table.setInterpolation(ocio.INTERP_TETRAHEDRAL)
    table.setData(points.ravel())
    return table
