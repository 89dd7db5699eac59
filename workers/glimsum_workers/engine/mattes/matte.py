"""A matte, and what had to be done to it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.codes import Plane


@dataclass(frozen=True)
class Matte:
    """A matte and what had to be done to it.

    Attributes
    ----------
    weight : Plane
        0..1; 1 keeps, 0 takes away.
    clamped : int
        Pixels that lay outside 0..1; noise about the ends puts up to half of them there.
    unlit : int
        Pixels where the backing gave no light to judge by; their weight is 1.
    """

    weight: Plane
    clamped: int
    unlit: int = 0


def clamp(weight: NDArray[np.float32]) -> Matte:
    """Return weights held to 0..1 as a matte, with how many lay outside."""
    outside = int(np.count_nonzero((weight < 0) | (weight > 1)))
    return Matte(np.clip(weight, 0, 1).astype(np.float32), outside)
