"""Pictures, matrices and mattes as compiled code takes them."""

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.codes import Image, Plane

Halves = tuple[NDArray[np.float16], NDArray[np.float16], NDArray[np.float16]]
"""Planes R, G, B of half floats, each (height, width), scene-linear, as a file stores them."""

Stored = tuple[Image, tuple[NDArray[np.int16], ...], bool]
"""A picture as compiled code takes it: floats, halves by their bits, and whether it is halves."""

_FEWEST_PIXELS = 1 << 16
"""Below this numpy is as fast, and the compiler need not be loaded."""

_UNIT = np.eye(3)


def is_worth_it(size: tuple[int, ...]) -> bool:
    """Return whether a picture of (height, width, ...) is large enough for compiled code."""
    return size[0] * size[1] >= _FEWEST_PIXELS


def count_unfinite(source: Halves) -> int:
    """Return how many samples are NaN or infinite."""
    from glimsum_workers.engine.compiled.half_planes import (  # noqa: PLC0415  # costs 0.5 s
        count_unfinite as count,
    )

    return sum(int(count(each)) for each in stored(source)[1])


def weigh_halves(source: Halves, shares: tuple[float, float, float]) -> Plane:
    """Return the sum of planes times their shares, held to 0..1; what is not finite counts as 0."""
    from glimsum_workers.engine.compiled.half_planes import (  # noqa: PLC0415  # as above
        weigh_planes,
    )

    weights = np.empty(size_of(source), np.float32)
    weigh_planes(stored(source)[1], np.asarray(shares, np.float32), weights)
    return weights


def side_by_side(source: Halves) -> Image:
    """Return planes as float32, (height, width, 3); what is not finite stays so."""
    pixels = np.empty((*source[0].shape, 3), np.float32)
    if not is_worth_it(size_of(source)):
        for index, plane in enumerate(source):
            pixels[..., index] = plane
        return pixels
    from glimsum_workers.engine.compiled.half_planes import (  # noqa: PLC0415  # as above
        lay_side_by_side,
    )

    lay_side_by_side(stored(source)[1], pixels)
    return pixels


def size_of(source: Image | Halves) -> tuple[int, int]:
    """Return height and width."""
    height, width = (source[0] if isinstance(source, tuple) else source).shape[:2]
    return height, width


def bytes_of(source: Image | Halves) -> int:
    """Return how much memory a source fills, bytes."""
    return sum(each.nbytes for each in source) if isinstance(source, tuple) else source.nbytes


def stored(source: Image | Halves) -> Stored:
    """Return a source as compiled code takes it."""
    if isinstance(source, tuple):
        bits = tuple(np.ascontiguousarray(each).view(np.int16) for each in source)
        return np.zeros((1, 1, 3), np.float32), bits, True
    return np.ascontiguousarray(source), (np.zeros((1, 1), np.int16),) * 3, False


def matrix_of(matrix: NDArray[np.float64] | None) -> tuple[int, NDArray[np.float32]]:
    """Return how compiled code applies a matrix, and the matrix."""
    from glimsum_workers.engine.compiled.tile_rows import (  # noqa: PLC0415  # as above
        AS_IT_IS,
        GAINS,
        MATRIX,
    )

    given = np.ascontiguousarray(_UNIT if matrix is None else matrix, np.float32)
    if np.array_equal(given, _UNIT):
        return AS_IT_IS, given
    return GAINS if np.array_equal(given, np.diag(given.diagonal())) else MATRIX, given


def mixes(how: int) -> bool:
    """Return whether a matrix that is applied so makes one channel of several."""
    from glimsum_workers.engine.compiled.tile_rows import MATRIX  # noqa: PLC0415  # as above

    return how == MATRIX


def matte_of(matte: Plane | None) -> tuple[Plane, bool]:
    """Return a matte as compiled code takes it, and whether there is one."""
    if matte is None:
        return np.zeros((1, 1), np.float32), False
    return np.ascontiguousarray(matte, np.float32), True
