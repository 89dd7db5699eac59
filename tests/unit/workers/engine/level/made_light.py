"""Made frames of a pass for tests of its level: a textured set, its lamp changed by numbers."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.codes import Image


def textured(shift_px: float = 0.0, height: int = 270, width: int = 480) -> Image:
    """Return a set under one lamp, (height, width, 3), scene-linear, moved to the right."""
    y, x = np.mgrid[0:height, 0:width].astype(np.float64)
    x = x - shift_px
    light = 0.2 + 0.1 * np.sin(x / 17) * np.cos(y / 23) + 0.05 * np.sin(x / 5)
    tone = np.stack([light, 0.8 * light, (0.5 + 0.2 * np.sin(x / 40)) * light], axis=-1)
    return tone.astype(np.float32)


def lit(
    gains: Sequence[NDArray[np.float64]], shift_px: float = 0.0, noise: float = 0.002
) -> list[Image]:
    """Return one frame for each gain: a number, (3,) by channel, or (height, 1, 1) by row."""
    random = np.random.default_rng(5)
    return [
        np.asarray(
            textured(shift_px * place) * gain + noise * random.standard_normal((270, 480, 3)),
            dtype=np.float32,
        )
        for place, gain in enumerate(gains)
    ]
