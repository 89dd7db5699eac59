"""Every pass brought to the exposure of the unit pass, and its white to the lamp's."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.codes import Image

LARGEST_STOPS = 40.0
"""Beyond this an exposure is a slip of the pen: 2**40 is past the range of half and of lamps."""


def exposure_gains(
    stops: float, white_balance: Sequence[float] = (1.0, 1.0, 1.0)
) -> NDArray[np.float32]:
    """Return the three multipliers that equalise a pass.

    Parameters
    ----------
    stops : float
        How much more light than the unit pass this pass received.
    white_balance : sequence of three float
        Gains R, G, B; 1 where the file is balanced already.

    Returns
    -------
    float32 array, (3,)
        ``white_balance * 2**-stops``, computed in float64 and rounded once.

    Raises
    ------
    LightError
        If a number is not finite, a gain is not above 0, or stops are beyond +-40.
    """
    gains = np.asarray(white_balance, dtype=np.float64)
    if not np.isfinite(stops) or abs(stops) > LARGEST_STOPS:
        raise LightError(
            "The exposure makes no light",
            seen=f"{stops} stops",
            expected=f"a finite number from -{LARGEST_STOPS:g} to {LARGEST_STOPS:g}",
            remedy="State how many stops more light than the unit pass this pass received.",
        )
    if gains.shape != (3,) or not np.all(np.isfinite(gains)) or np.any(gains <= 0):
        raise LightError(
            "The white balance makes no light",
            seen=str(list(white_balance)),
            expected="three finite gains above 0, for R, G and B",
            remedy="Give white_balance as gains, or as kelvin.",
        )
    return np.asarray(gains * 2.0**-stops, dtype=np.float32)


def equalise(
    rgb: Image,
    stops: float,
    white_balance: Sequence[float] = (1.0, 1.0, 1.0),
    *,
    out: Image | None = None,
) -> Image:
    """Return `rgb` at the exposure of the unit pass.

    Parameters
    ----------
    rgb : Image
        Scene-linear in the camera's primaries, dark subtracted; negatives kept.
    stops : float
        How much more light than the unit pass this pass received.
    white_balance : sequence of three float
        Gains R, G, B.
    out : Image, optional
        Where to put the result; may be `rgb`.

    Returns
    -------
    Image
        One multiplication a sample: relative error 2**-24 beyond that of the gains.

    Raises
    ------
    LightError
        As `exposure_gains`.
    """
    return multiply_channels(rgb, exposure_gains(stops, white_balance), out=out)


def multiply_channels(rgb: Image, gains: NDArray[np.float32], *, out: Image | None = None) -> Image:
    """Return `rgb` with each channel times its gain; float32 (3,), in one pass over memory."""
    if out is None:
        out = np.empty_like(rgb)
    if gains[0] == gains[1] == gains[2]:
        return np.multiply(rgb, np.float32(gains[0]), out=out)
    # A row of repeated gains lets the inner loop run over a row, not over three samples.
    row = np.tile(gains, rgb.shape[1]).reshape(1, rgb.shape[1], 3)
    return np.multiply(rgb, row, out=out)
