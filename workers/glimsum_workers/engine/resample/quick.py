"""Pictures laid on each other by compiled tiles: resampled, weighed and added in one walk.

Same taps and same limits beside lamps as `shifted` and `mapped`, which do everything else and
stay the reference.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.codes import Image, Plane
from glimsum_workers.engine.laying import (
    Halves,
    count_unfinite,
    matrix_of,
    matte_of,
    mixes,
    size_of,
    stored,
)
from glimsum_workers.engine.resample.kernels import interpolation_taps
from glimsum_workers.engine.resample.places import Place
from glimsum_workers.engine.resample.ring_limits import BLOCK_PX, RingRule, rule_of


@dataclass(frozen=True)
class Laid:
    """How a resampled picture is laid down.

    Attributes
    ----------
    before, after : float64 array, (3, 3), or None
        What colours are multiplied by before and after the resample; limits beside lamps are
        those of the light in between. None: nothing.
    matte : Plane or None
        0..1, multiplies what is laid down.
    added : bool
        Added to the target; else it replaces what was there.
    """

    before: NDArray[np.float64] | None = None
    after: NDArray[np.float64] | None = None
    matte: Plane | None = None
    added: bool = False


@dataclass(frozen=True)
class Layer:
    """A picture, where its samples are taken, and what they are multiplied by.

    Attributes
    ----------
    source : Image or Halves
        Scene-linear; halves that are not finite count as 0. An Image that moves has to be finite.
    before, after : float64 array, (3, 3), or None
        What colours are multiplied by before and after they move, in float32. None: nothing.
    matte : Plane or None
        0..1, multiplies what is added.
    place : Place or None
        One that `is_quick`; None: it stays where it is.
    rule : RingRule or None
        Of ``before @ source``, which moves; None leaves all samples free.
    """

    source: Image | Halves
    before: NDArray[np.float64] | None = None
    after: NDArray[np.float64] | None = None
    matte: Plane | None = None
    place: Place | None = None
    rule: RingRule | None = None


_NOTHING = Layer(np.zeros((1, 1, 3), np.float32))
_AT_REST = 1.0, 0.0, 0.0, 0.0, 1.0, 0.0


def lay_together(layers: Sequence[Layer], target: Image, *, added: bool = True) -> None:
    """Lay pictures on each other, tile by tile, in place.

    Parameters
    ----------
    layers : sequence of Layer
        As large as `target`; laid in their order.
    target : Image
        C order; changed.
    added : bool
        Added to what `target` holds; else that is forgotten.

    Raises
    ------
    LightError
        A picture that stays, or a matte, has another size than `target`; nothing is laid then.

    Notes
    -----
    A moved picture's rows are taken first, at the new columns, then along columns; each sample's
    fraction is its own. Within a band of 32 rows taps change evenly over as many rows as a
    fraction takes to change by 0.002, and lie on cubics along columns: against the exact taps a
    sample is off by 4e-6 of the contrast under its kernel, by 2e-5 where its place passes a whole
    pixel within the band; half floats round by 2.4e-4. All sums are float32, in one order; products
    of taps are added to them without being rounded first, by the one operation of IEEE 754 that
    does so. Pictures laid one after the other, or kept in between as float32, give the same bits.
    """
    from glimsum_workers.engine.compiled.together import MOST  # noqa: PLC0415  # costs 0.5 s

    for each in layers:
        _check_sizes(each, target)
    for first in range(0, len(layers), MOST):
        _lay_few(layers[first : first + MOST], target, added=added or first > 0)


def _check_sizes(layer: Layer, target: Image) -> None:
    """Refuse what compiled code, which looks at no bounds, would read beyond its end."""
    source, size = size_of(layer.source), target.shape[:2]
    planes = [source] if layer.place is None else []
    planes += [] if layer.matte is None else [layer.matte.shape]
    for plane in planes:
        if plane != size:
            raise LightError(
                "A layer has another size than what it is laid on",
                seen=f"{plane[1]} x {plane[0]} pixels",
                expected=f"{size[1]} x {size[0]} pixels",
                remedy="Resample it to the picture of the shot first.",
            )


def lay_quickly(
    source: Image | Halves, place: Place, rule: RingRule | None, target: Image, laid: Laid
) -> None:
    """Lay one resampled picture on `target`, in place.

    Parameters
    ----------
    source : Image or Halves
        Scene-linear; halves that are not finite count as 0, an Image has to be finite.
    place : Place
        One that `is_quick`.
    rule : RingRule or None
        Of ``laid.before @ source``; None leaves all samples free.
    target : Image
        C order; changed.
    laid : Laid
        What it is multiplied by and whether it is added.

    Notes
    -----
    As `lay_together`.
    """
    layer = Layer(source, laid.before, laid.after, laid.matte, place, rule)
    lay_together([layer], target, added=laid.added)


def _lay_few(layers: Sequence[Layer], target: Image, *, added: bool) -> None:
    from glimsum_workers.engine.compiled import together  # noqa: PLC0415  # as above

    filled = [*layers, *[_NOTHING] * (together.MOST - len(layers))]
    pixels, bits, is_half = zip(*(stored(each.source) for each in filled), strict=True)
    how_in, before = zip(*(matrix_of(each.before) for each in filled), strict=True)
    how_out, after = zip(*(matrix_of(each.after) for each in filled), strict=True)
    mattes, matted = zip(*(matte_of(each.matte) for each in filled), strict=True)
    places = [_AT_REST if each.place is None else each.place.numbers() for each in filled]
    lamps = tuple(_lamps_of(each.rule) for each in filled)
    together.lay_together(
        len(layers), pixels, bits, np.array(is_half), np.array(how_in, np.int64), np.stack(before),
        np.array([each.place is not None for each in filled]), np.array(places), tap_rises(),
        lamps, np.array([bool(each.any()) for each in lamps]), np.array(how_out, np.int64),
        np.stack(after), mattes, np.array(matted), target, added,
    )  # fmt: skip


def _lamps_of(rule: RingRule | None) -> NDArray[np.bool_]:
    return np.zeros((1, 1), np.bool_) if rule is None else np.ascontiguousarray(rule.lamps)


def find_rule_quickly(source: Image | Halves, before: NDArray[np.float64] | None) -> RingRule:
    """Return the rule of a picture that is multiplied by a matrix.

    Parameters
    ----------
    source : Image or Halves
        Scene-linear; halves that are not finite count as 0.
    before : float64 array, (3, 3), or None
        None: as it is.

    Returns
    -------
    RingRule
        That of `find_ring_rule` for ``before @ source``.
    """
    return survey_quickly(source, before)[0]


def survey_quickly(
    source: Image | Halves, before: NDArray[np.float64] | None
) -> tuple[RingRule, int]:
    """Return what `find_rule_quickly` does, and how many halves are NaN or infinite."""
    height, width = size_of(source)
    blocks = 3, -(-height // BLOCK_PX), -(-width // BLOCK_PX)
    high, low = np.empty(blocks, np.float32), np.empty(blocks, np.float32)
    unfinite = _find_extremes(source, before, high, low)
    return rule_of(high, low), unfinite


def _find_extremes(
    source: Image | Halves,
    before: NDArray[np.float64] | None,
    high: NDArray[np.float32],
    low: NDArray[np.float32],
) -> int:
    from glimsum_workers.engine.compiled.extremes import (  # noqa: PLC0415  # costs 0.5 s
        find_extremes,
        find_plane_extremes,
    )

    how, matrix = matrix_of(before)
    gains = matrix.diagonal()
    if not isinstance(source, tuple) or mixes(how) or not (gains > 0).all():
        find_extremes(*stored(source), how, matrix, high, low)
        return count_unfinite(source) if isinstance(source, tuple) else 0
    # Products keep the order of what is multiplied, so the extremes may be multiplied instead.
    parts = zip(stored(source)[1], gains, high, low, strict=True)
    return sum(int(find_plane_extremes(*part)) for part in parts)


@cache
def tap_nodes() -> NDArray[np.float32]:
    """Return the taps at the nodes of a fine grid of fractions: (nodes, 8)."""
    return np.ascontiguousarray(_exact_nodes().astype(np.float32))


@cache
def tap_rises() -> NDArray[np.float32]:
    """Return the taps at nodes, and by how much they rise to the next: (nodes - 1, 16)."""
    nodes = _exact_nodes()
    # Rises are small beside the taps, so they are taken before anything is rounded.
    both = np.concatenate([nodes[:-1], np.diff(nodes, axis=0)], axis=1)
    return np.ascontiguousarray(both.astype(np.float32))


def _exact_nodes() -> NDArray[np.float64]:
    from glimsum_workers.engine.compiled.bands import MARGIN, NODES  # noqa: PLC0415  # as above

    fractions = np.arange(-MARGIN, NODES + MARGIN + 2) / NODES
    return interpolation_taps(fractions).T
