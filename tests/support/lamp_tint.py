"""The tint of a lamp worked out apart from the project, in linear Rec.709.

Sources: black bodies by Planck's law over the CIE 1931 observer, from colour-science; von Kries
adaptation in Bradford's cone space (ICC.1:2022, annex E); primaries of ITU-R BT.709-6.
"""

import warnings

import numpy as np
from numpy.typing import NDArray

from support.harbour_chain import BRADFORD, D65_XY, REC709_XY, _to_xyz

with warnings.catch_warnings():
    # colour-science says at import that it can't draw diagrams.
    warnings.filterwarnings("ignore", message='.*"Matplotlib" related API features')
    import colour


def tint_by_hand(mired: float, lamp_kelvin: float) -> NDArray[np.float32]:
    """Return the 3 x 3 matrix that takes the lamp's white to the moved lamp's white."""
    moved_kelvin = 1e6 / (1e6 / lamp_kelvin + mired)
    cones = (BRADFORD @ black_body_xyz(moved_kelvin)) / (BRADFORD @ black_body_xyz(lamp_kelvin))
    adapt = np.linalg.inv(BRADFORD) @ np.diag(cones) @ BRADFORD
    to_xyz = _to_xyz(REC709_XY, D65_XY)
    return np.asarray(np.linalg.inv(to_xyz) @ adapt @ to_xyz, dtype=np.float32)


def black_body_xyz(kelvin: float) -> NDArray[np.float64]:
    """Return X, Y, Z of a black body with Y = 1, summed over 360 to 780 nm in 1 nm steps."""
    shape = colour.SpectralShape(360, 780, 1)
    matching = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape).values
    xyz: NDArray[np.float64] = colour.sd_blackbody(kelvin, shape).values @ matching
    xyz /= xyz[1]
    return xyz
