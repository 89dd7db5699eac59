"""Codes that become light by a table."""

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.codes import Image, Plane
from glimsum_workers.engine.laying import is_worth_it


def look_up(
    codes: NDArray[np.uint8] | NDArray[np.uint16], table: Plane
) -> tuple[NDArray[np.float32], int]:
    """Return the entry of every code, and the highest code.

    Parameters
    ----------
    codes : uint8 or uint16 array
        Any shape, which that of the entries is too.
    table : float32 array, (entries,)
        Its last entry stands for codes beyond it, which the caller has to refuse.

    Returns
    -------
    light : float32 array
    highest : int
    """
    if not is_worth_it(codes.shape):
        highest = int(codes.max(initial=0))
        return np.take(table, codes, mode="clip"), highest
    from glimsum_workers.engine.compiled.tables import (  # noqa: PLC0415  # costs 0.5 s
        look_up as quickly,
    )

    light = np.empty(codes.shape, np.float32)
    return light, int(quickly(np.ascontiguousarray(codes).reshape(-1), table, light.reshape(-1)))


def look_up_mean(
    codes: NDArray[np.uint8] | NDArray[np.uint16], table: Plane, top: int
) -> tuple[Plane, NDArray[np.bool_], int]:
    """Return the mean of the entries of each pixel's three codes: what `look_up` gives, averaged.

    Parameters
    ----------
    codes : uint8 or uint16 array, (height, width, 3)
    table : float32 array, (entries,)
        As in `look_up`.
    top : int
        The code that is looked for, 0 or above.

    Returns
    -------
    mean : float32 array, (height, width)
    reached : bool array, (height, width)
        Whether a code is at or above `top`.
    highest : int
        The highest code.
    """
    from glimsum_workers.engine.compiled.tables import (  # noqa: PLC0415  # as above
        look_up_mean as quickly,
    )

    mean: Plane = np.empty(codes.shape[:2], np.float32)
    reached: NDArray[np.bool_] = np.empty(codes.shape[:2], np.bool_)
    flat = np.ascontiguousarray(codes).reshape(-1)
    highest = quickly(flat, table, top, mean.reshape(-1), reached.reshape(-1))
    return mean, reached, int(highest)


def enter_table(values: Image, low: float, scale: float, table: Plane) -> None:
    """Replace values by the entries of a table, in place.

    Parameters
    ----------
    values : Image
        C order, finite; entry ``int((value - low) * scale)`` in float32 takes the place of each,
        the first and last entry that of values beyond them.
    low, scale : float
        Where the table begins, and its entries a unit.
    table : float32 array, (entries,)
        Fewer than 2**24, so that float32 counts them.
    """
    if is_worth_it(values.shape):
        from glimsum_workers.engine.compiled.tables import (  # noqa: PLC0415  # as above
            enter_table as quickly,
        )

        quickly(values.reshape(-1), np.float32(low), np.float32(scale), table)
        return
    for row in values:
        steps = ((row - np.float32(low)) * np.float32(scale)).astype(np.int32)
        np.take(table, steps, out=row, mode="clip")
