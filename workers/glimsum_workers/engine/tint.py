"""Tint: the colour of a lamp moved along the Planck locus, as one matrix."""

import math

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.planck import planck_xy
from glimsum_workers.engine.spaces import Matrix3, xyz_from_rgb

COLDEST_KELVIN, HOTTEST_KELVIN = 1667.0, 25000.0

# Bradford cone response (Lam 1985, as printed in ICC.1:2022, annex E.2); the signs and digits
# are checked against a second library in the tests.
_BRADFORD = np.array(
    [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
)


def tint_matrix(mired: float, *, lamp_kelvin: float = 3200.0, space: str) -> Matrix3:
    """Return the matrix that moves a lamp along the Planck locus.

    Parameters
    ----------
    mired : float
        Shift of the lamp's 1e6 / T; positive is warmer (a colour temperature orange filter),
        negative cooler.
    lamp_kelvin : float
        Temperature of the lamp as the picture shows it, 1667 to 25000 K.
    space : str
        Working space of the linear RGB that the matrix is for.

    Returns
    -------
    Matrix3
        float64; ``tinted = matrix @ rgb``. White of the lamp goes to white of the moved lamp
        with the same luminance Y (exact to 1e-12); other colours follow by von Kries' rule in
        Bradford's cone space, which is an approximation: a real filter works on spectra. Hence
        a lamp that was white-balanced to 1, 1, 1 changes its luminance a little: -1.2 % at +40
        and +1.3 % at -40 mired on 3200 K in AP1.

    Raises
    ------
    LightError
        When the lamp or the moved lamp leaves 1667 to 25000 K, or a number is not finite.

    References
    ----------
    CIE 015:2018 (mired, Planck locus); ICC.1:2022 annex E (Bradford).
    """
    moved_kelvin = _moved(lamp_kelvin, mired)
    if mired == 0:
        return np.eye(3)
    lamp, moved = _white_xyz(lamp_kelvin), _white_xyz(moved_kelvin)
    gains = (_BRADFORD @ moved) / (_BRADFORD @ lamp)
    adapt = np.linalg.solve(_BRADFORD, gains[:, np.newaxis] * _BRADFORD)
    to_xyz = xyz_from_rgb(space)
    return np.asarray(np.linalg.solve(to_xyz, adapt @ to_xyz), dtype=np.float64)


def shift_mired(from_kelvin: float, to_kelvin: float) -> float:
    """Return the shift in mired that takes one colour temperature to another; + is warmer."""
    return 1e6 / to_kelvin - 1e6 / from_kelvin


def _moved(lamp_kelvin: float, mired: float) -> float:
    """Return the temperature of the moved lamp, after checking both."""
    if not math.isfinite(mired) or not COLDEST_KELVIN <= lamp_kelvin <= HOTTEST_KELVIN:
        raise LightError(
            "lamp outside the range of a tint",
            seen=f"lamp of {lamp_kelvin:g} K, shift {mired:+g} mired",
            expected=f"lamp_kelvin {COLDEST_KELVIN:g} to {HOTTEST_KELVIN:g}, a finite shift",
            remedy="State the colour temperature of the lamp itself; a candle has about 1900 K.",
        )
    target = 1e6 / lamp_kelvin + mired
    least, most = 1e6 / HOTTEST_KELVIN, 1e6 / COLDEST_KELVIN
    if not least - 1e-9 <= target <= most + 1e-9:
        seen = f"{lamp_kelvin:g} K {mired:+g} mired = {target:.4g} mired"
        if target > 0:
            seen += f" ({1e6 / target:.0f} K)"
        raise LightError(
            "tint moves the lamp outside the range of a tint",
            seen=seen,
            expected=f"{COLDEST_KELVIN:g} to {HOTTEST_KELVIN:g} K, here "
            f"{least - 1e6 / lamp_kelvin:+.0f} to {most - 1e6 / lamp_kelvin:+.0f} mired",
            remedy="Take a smaller shift.",
        )
    return 1e6 / target


def _white_xyz(kelvin: float) -> NDArray[np.float64]:
    """Return X, Y, Z of a black body with Y = 1."""
    x, y = planck_xy(kelvin)
    return np.array([x / y, 1.0, (1 - x - y) / y])
