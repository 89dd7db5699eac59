"""How two pictures of one frame differ, in linear light and in stops."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.codes import Image, Plane
from glimsum_workers.engine.metrics import block_means

LIGHT_FLOOR = 2.0**-10
"""Below this light stops tell noise: ten stops under 1, where a camera's own noise begins."""
LARGEST_HALF = 65504.0
_PLACE_PX = 8


@dataclass(frozen=True)
class Difference:
    """How a later picture differs from an earlier one.

    Attributes
    ----------
    mean, largest : float
        Of the distance between both over all samples, scene-linear.
    stops : float or None
        Mean of log2(later / earlier) over the samples that are above `LIGHT_FLOOR` in both; + is
        brighter. None where there is none.
    largest_stops : float or None
        The same of the place that is farthest from 0, with its sign: log2 of the ratio of mean
        light over 8 x 8 pixels, since of single ones noise would be told. Of pictures that hold
        no such place, of a sample.
    changed_share : float
        Share of pixels, 0..1, of which a channel differs by more than one step of a half float
        there: more than two roundings of the same light can differ.
    coverage : float
        Largest difference of coverage, 0..1.
    """

    mean: float
    largest: float
    stops: float | None
    largest_stops: float | None
    changed_share: float
    coverage: float


def compare_light(
    earlier: Image,
    later: Image,
    earlier_alpha: Plane | None = None,
    later_alpha: Plane | None = None,
) -> Difference:
    """Compare two pictures sample by sample.

    Parameters
    ----------
    earlier, later : Image, (height, width, 3)
        Scene-linear, the same working space.
    earlier_alpha, later_alpha : Plane or None
        Coverage 0..1; None: 1 everywhere.

    Returns
    -------
    Difference
        Sums in float64; exact but for the rounding of log2.

    Raises
    ------
    LightError
        The pictures differ in size.
    """
    if earlier.shape != later.shape:
        raise LightError(
            "pictures of different size can't be compared",
            seen=f"{later.shape[1]} x {later.shape[0]} pixels",
            expected=f"{earlier.shape[1]} x {earlier.shape[0]}, as in the earlier version",
        )
    off = np.abs(later - earlier)
    stops = _stops(earlier, later)
    changed = (off > half_step(np.maximum(np.abs(earlier), np.abs(later)))).any(axis=2)
    cover = _full(later_alpha, later) - _full(earlier_alpha, earlier)
    places = _stops_of_places(earlier, later)
    farthest = float(places[np.argmax(np.abs(places))]) if places.size else None
    return Difference(
        mean=float(off.mean(dtype=np.float64)),
        largest=float(off.max()),
        stops=float(stops.mean()) if stops.size else None,
        largest_stops=farthest,
        changed_share=float(changed.mean()),
        coverage=float(np.abs(cover).max()),
    )


def _stops_of_places(earlier: Image, later: Image) -> NDArray[np.float64]:
    if min(earlier.shape[:2]) < _PLACE_PX:
        return _stops(earlier, later)
    return _stops(*(block_means(each, _PLACE_PX) for each in (earlier, later)))


def _stops(earlier: NDArray[np.float32], later: NDArray[np.float32]) -> NDArray[np.float64]:
    """Return log2(later / earlier) wherever both are light."""
    lit = (earlier > LIGHT_FLOOR) & (later > LIGHT_FLOOR)
    return np.asarray(np.log2(later[lit].astype(np.float64) / earlier[lit]), dtype=np.float64)


def half_step(light: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the distance to the next larger half float (IEEE 754 binary16), 2^-24 at least."""
    fraction, exponent = np.frexp(np.minimum(light, LARGEST_HALF))
    exponent = np.where(fraction == 0, -13, exponent)
    # frexp gives 0.5 <= fraction < 1, so a value of exponent e lies in [2^(e-1), 2^e): 10 bits.
    return np.asarray(np.ldexp(np.float32(1), np.maximum(exponent, -13) - 11), np.float32)


def enlargement(earlier: Image, later: Image) -> int:
    """Return the factor that brings a difference near to white.

    Parameters
    ----------
    earlier, later : Image, (height, width, 3)
        Scene-linear, of one size.

    Returns
    -------
    int
        A power of two, 1 to 65536; all but one in a thousand samples stay at 1 or below.
    """
    high = float(np.quantile(np.abs(later - earlier), 0.999))
    if high <= 0:
        high = float(np.abs(later - earlier).max())
    if high <= 0:
        return 1
    return int(2 ** np.clip(np.floor(-np.log2(high)), 0, 16))


def _full(alpha: Plane | None, rgb: Image) -> Plane:
    return np.ones(rgb.shape[:2], np.float32) if alpha is None else alpha
