"""A motion of its own for every pixel, by compiled code: resampled, weighed and laid in one walk.

Same taps and same limits beside lamps as `mapped`, which does everything else and stays the
reference.
"""

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.codes import Image
from glimsum_workers.engine.laying import Halves, matrix_of, matte_of, size_of, stored
from glimsum_workers.engine.resample.quick import Laid, tap_nodes
from glimsum_workers.engine.resample.ring_limits import RingRule


def lay_field_quickly(
    source: Image | Halves,
    field: NDArray[np.float32],
    rule: RingRule | None,
    target: Image,
    laid: Laid,
) -> None:
    """Lay a picture that is resampled by a field on `target`, in place.

    Parameters
    ----------
    source : Image or Halves
        Scene-linear; halves that are not finite count as 0, an Image has to be finite.
    field : float32 array, (height, width, 2)
        What is added to the place of each new pixel, x then y, in pixels; the centres of source
        and result lie on each other. As large as `target`, finite.
    rule : RingRule or None
        Of ``laid.before @ source``; None leaves all samples free.
    target : Image
        C order; changed.
    laid : Laid
        What it is multiplied by and whether it is added.

    Notes
    -----
    Along columns first, then along the row, 64 samples a pixel, all sums float32 in one order.
    Beside the pictures it takes a copy of the source as floats.
    """
    from glimsum_workers.engine.compiled.field_samples import (  # noqa: PLC0415  # costs 0.5 s
        RIM,
        lay_field,
        spread,
    )
    from glimsum_workers.engine.compiled.squares import FLOATS  # noqa: PLC0415  # as above

    height, width = size_of(source)
    floats = np.empty((height + 2 * RIM, width + 2 * RIM, FLOATS), np.float32)
    spread(*stored(source), *matrix_of(laid.before), floats)
    lamps = np.zeros((1, 1), np.bool_) if rule is None else rule.lamps
    lay_field(
        floats,
        np.ascontiguousarray(field),
        (width - field.shape[1]) / 2,
        (height - field.shape[0]) / 2,
        tap_nodes(),
        np.ascontiguousarray(lamps),
        bool(lamps.any()),
        target,
        *matrix_of(laid.after),
        *matte_of(laid.matte),
        laid.added,
    )
