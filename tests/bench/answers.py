"""Whether two pictures of a frame are the same: differences in steps of a half float."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import OpenEXR
from numpy.typing import NDArray

DARKEST = 0.01
"""Below it steps are those of 0.01: noise of the sources is a hundred times as large there."""


STEPS_OF_EQUALS = 1.05
"""Two roundings to half: ours by half a step at most, another's by a whole one where it cuts."""


@dataclass(frozen=True)
class Difference:
    """How far a picture is off another, in half-float steps."""

    usual: float
    """95th percentile."""
    largest: float
    beyond: float
    """Share of samples that are off by more than `STEPS_OF_EQUALS`."""

    def __str__(self) -> str:
        """Read as ``0.50   12   3.1 %``."""
        return f"{_short(self.usual):>6s}{_short(self.largest):>7s}{100 * self.beyond:7.1f} %"


def compare(
    made: NDArray[np.floating[Any]], wanted: NDArray[np.floating[Any]], ceiling: float = np.inf
) -> Difference:
    """Return how far `made` is off `wanted`, both (height, width, 3) scene-linear.

    With a `ceiling`, a tool that stores nothing above it and nothing below 0 is held against
    what it can store.
    """
    exact = wanted.astype(np.float64)
    if np.isfinite(ceiling):
        exact = np.clip(exact, 0, ceiling)
    step = np.spacing(np.maximum(np.abs(exact), DARKEST).astype(np.float16)).astype(np.float64)
    off = np.abs(made.astype(np.float64) - exact) / step
    beyond = float(np.mean(off > STEPS_OF_EQUALS))
    return Difference(float(np.quantile(off, 0.95)), float(off.max()), beyond)


def read_rgb(path: Path) -> NDArray[np.float32]:
    """Read R, G, B of a file with the standard's own library, (height, width, 3)."""
    with OpenEXR.File(str(path), separate_channels=True) as file:
        channels = file.channels()
        return np.stack([channels[letter].pixels for letter in "RGB"], axis=-1).astype(np.float32)


def _short(steps: float) -> str:
    return f"{steps:.2f}" if steps < 10 else f"{steps:.0f}"
