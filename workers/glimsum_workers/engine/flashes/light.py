"""From the codes of a display to the light of its cells: luminance and redness."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.flash_limits import RED_SHARE
from glimsum_workers.engine.codes import Image
from glimsum_workers.engine.curves import decode_power, decode_srgb
from glimsum_workers.engine.flashes.screen import Cells, Hits, Screen
from glimsum_workers.engine.spaces import xyz_from_rgb
from glimsum_workers.engine.viewing import DisplayCodes

BLACKEST = 1 / 64
"""Light with R + G + B below this is black and has the white point's u'v'. Our own choice: the
definition says nothing of black, and grain there has every colour."""

_EXPONENTS = {"g24_rec709_display": 2.4, "g22_rec709_display": 2.2}


@dataclass(frozen=True)
class CellLight:
    """What a frame shows, cell by cell.

    Attributes
    ----------
    luminance : Cells
        Relative luminance, 0..1.
    redness : Cells
        R - G - B in linear light of the display, negative values 0.
    red : Hits
        Saturated red: R / (R + G + B) of `RED_SHARE` at least; never in black.
    chromaticity : float32 array (2, rows, columns)
        CIE 1976 u' and v'.
    """

    luminance: Cells
    redness: Cells
    red: Hits
    chromaticity: NDArray[np.float32]


class DisplayLight:
    """Reads display codes as light.

    Parameters
    ----------
    screen : Screen
        Size and cells.
    display : str
        Interop ID of the display the codes are for.

    Notes
    -----
    Curves: IEC 61966-2-1 for sRGB and P3 screens; ITU-R BT.1886 with black at 0, which is the
    power 2.4; the power 2.2. Luminance by the primaries of the display: on sRGB and BT.709
    0.2126, 0.7152, 0.0722 as in WCAG 2.2. u' = 4X / (X + 15Y + 3Z), v' = 9Y / (X + 15Y + 3Z)
    (CIE 15). Codes of a cell are turned to light first and then averaged.
    """

    def __init__(self, screen: Screen, display: str) -> None:
        self._screen = screen
        codes = np.arange(256) / 255
        exponent = _EXPONENTS.get(display)
        self._table = np.asarray(
            decode_srgb(codes) if exponent is None else decode_power(codes, exponent=exponent),
            np.float32,
        )
        wide = display == "srgb_p3d65_display"
        self._xyz = xyz_from_rgb("lin_p3d65_scene" if wide else "lin_rec709_scene")
        white = chromaticity_of(self._xyz @ np.ones(3))
        self.white = (float(white[0]), float(white[1]))
        """u', v' of the white point."""
        red = chromaticity_of(self._xyz[:, 0])
        self.red = (float(red[0]), float(red[1]))
        """u', v' of the red primary."""

    def read(self, codes: DisplayCodes) -> CellLight:
        """Return the light of the cells of one frame."""
        return self.judge(self._screen.light(codes, self._table))

    def judge(self, rgb: Image) -> CellLight:
        """Return luminance and redness of linear light of the display, one pixel a cell."""
        total = rgb.sum(axis=2)
        red, green, blue = np.moveaxis(rgb, 2, 0)
        lit = total >= BLACKEST
        xyz = np.moveaxis(rgb @ self._xyz.T.astype(np.float32), 2, 0)
        white = np.broadcast_to(np.array(self.white)[:, None, None], (2, *total.shape))
        safe = np.where(lit, xyz, np.float32(1))
        return CellLight(
            luminance=np.asarray(xyz[1], np.float32),
            redness=np.maximum(red - green - blue, 0),
            red=lit & (red >= np.float32(RED_SHARE) * total),
            chromaticity=np.where(lit, chromaticity_of(safe), white).astype(np.float32),
        )


def chromaticity_of(xyz: NDArray[np.floating]) -> NDArray[np.floating]:
    """Return CIE 1976 u' and v' of X, Y, Z; the first axis holds the components."""
    both = np.stack([4 * xyz[0], 9 * xyz[1]]) / (xyz[0] + 15 * xyz[1] + 3 * xyz[2])
    return np.asarray(both)
