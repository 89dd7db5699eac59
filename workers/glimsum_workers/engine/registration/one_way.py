"""Whether two pictures show the same along every direction, or along one nothing but noise.

Where all edges run one way, nothing tells how far a picture lies along them. Noise of the reference
looks like detail there, thousands of tiles of it: the least squares know the answer to hundredths
of a pixel, and are wrong by any number. What both pictures show is told apart from noise, which
each has of its own, by the curvature of their correlation.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.registration.taps import curve_between, read_between
from glimsum_workers.engine.registration.tile_fit import TileFit
from glimsum_workers.engine.registration.tile_sums import TileSums

Numbers = NDArray[np.float64]

LEAST_SHARED = 0.7
"""Of the detail that the reference seems to show along a direction; pictures share 0.95 to 1.06 of
it in all lights, of noise 0.0 to 0.25 (measured)."""
LEAST_OF_MOST = 0.01
"""What is told along a direction over what is along the best one; below, the taps, which are right
to some thousandths, say nothing of it. Clutter, and iron all over, have 0.5 to 0.97 (measured)."""
_MOST_LOOKED_AT = 2000


@dataclass(frozen=True)
class Told:
    """What a fit was made from.

    Attributes
    ----------
    sums : TileSums
    displacement : float64 array, (n, 2)
        Of all its tiles, pixels of the level.
    fit : TileFit
        What they said there.
    robust : float64 array, (kept,)
        What counts of those that were kept, 0..1.
    """

    sums: TileSums
    displacement: Numbers
    fit: TileFit
    robust: Numbers


def find_one_way(told: Told) -> str:
    """Return in words why nothing tells how far a picture lies along its edges, or nothing.

    Parameters
    ----------
    told : Told

    Returns
    -------
    str
        Empty where the direction along which the reference shows least holds at least 0.01 of what
        the best one does, and the moving picture shows at least 0.7 of it too.
    """
    apparent, shared = _hold(told)
    if not np.isfinite(apparent).all() or not np.isfinite(shared).all():
        return ""
    values, ways = np.linalg.eigh(apparent)
    of_most = float(values[0] / max(values[1], 1e-30))
    if of_most < LEAST_OF_MOST:
        return (
            f"all edges run one way: along them the picture tells {of_most:.4f} of what it tells "
            f"across, at least {LEAST_OF_MOST} wanted"
        )
    of_it = float(ways[:, 0] @ shared @ ways[:, 0] / values[0])
    if of_it < LEAST_SHARED:
        return (
            f"all edges run one way: along them the pictures share {max(of_it, 0.0):.2f} of what "
            f"one seems to show, at least {LEAST_SHARED} wanted"
        )
    return ""


def _hold(told: Told) -> tuple[Numbers, Numbers]:
    """Return what the tiles seem to tell of a shift, and what of it both pictures show: (2, 2)."""
    some = slice(None, None, max(-(-told.robust.size // _MOST_LOOKED_AT), 1))
    kept = told.fit.kept[some]
    square, slope_x, slope_y, xx, xy, yy = told.sums.own[kept].T
    own = _matrices(xx, xy, yy)
    gain, curved = _curvature(told, kept)
    slope = _matrices(slope_x**2, slope_x * slope_y, slope_y**2) / square[:, None, None]
    known = told.fit.information[:, some]
    trace = np.trace(own - slope, axis1=1, axis2=2)
    share = told.robust[some] * (known[0] + known[2]) / np.maximum(trace, 1e-12)
    alike = curved / np.where(gain == 0, 1.0, gain)[:, None, None]
    return (
        np.einsum("n,nij->ij", share, own - slope),
        np.einsum("n,nij->ij", share, alike - slope),
    )


def _curvature(told: Told, kept: NDArray[np.intp]) -> tuple[Numbers, Numbers]:
    """Return each tile's gain, (n,), and the curvature of its correlation downwards, (n, 2, 2)."""
    sums = told.sums
    fraction = np.clip(told.displacement[kept] - sums.offsets[kept], -1.0, 1.0)
    across, down = (
        np.stack([*read_between(fraction[:, axis]), curve_between(fraction[:, axis])], axis=-1)
        for axis in (0, 1)
    )
    read = np.swapaxes(down, 1, 2) @ sums.cross[kept] @ across
    gain = read[:, 0, 0] / np.maximum(sums.own[kept, 0], 1e-9)
    return gain, -_matrices(read[:, 0, 2], read[:, 1, 1], read[:, 2, 0])


def _matrices(xx: Numbers, xy: Numbers, yy: Numbers) -> Numbers:
    return np.stack([np.stack([xx, xy], axis=-1), np.stack([xy, yy], axis=-1)], axis=-1)
