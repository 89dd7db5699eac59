"""A small shot of a moving camera: a far wall and near cards that pass before it, drawn by hand.

Far detail moves by one pixel a frame and near detail by four, whole pixels, so that no shift brings
two different frames together.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

HEIGHT, WIDTH = 96, 144
FAR_PX, NEAR_PX = 1, 4
"""Pixels a frame."""
_ROOM = 600

Light = NDArray[np.float32]


def draw_frame(time: int, lamp: str = "key") -> Light:
    """Return the set from where the camera stands at a frame: (HEIGHT, WIDTH, 3), linear.

    `lamp` is ``key``, even light, or ``side``, which turns contrast round on the near cards.
    """
    random = np.random.default_rng(5)
    far, near, cards = (
        gaussian_filter(random.normal(size=(HEIGHT, _ROOM)), smooth) for smooth in (1.2, 1.2, 6.0)
    )
    far, near = far / far.std(), near / near.std()
    here = slice(_ROOM // 2 + FAR_PX * time, _ROOM // 2 + FAR_PX * time + WIDTH)
    there = slice(_ROOM // 2 + NEAR_PX * time, _ROOM // 2 + NEAR_PX * time + WIDTH)
    side = lamp == "side"
    wall = 0.3 + 0.05 * far[:, here] * (0.4 if side else 1.0)
    card = 0.5 + 0.08 * near[:, there] * (-0.6 if side else 1.0)
    seen = np.where(cards[:, there] > 0, card, wall)
    grain = np.random.default_rng([abs(time), time < 0, side]).normal(0, 0.003, seen.shape)
    return np.repeat((seen + grain)[..., None], 3, axis=2).astype(np.float32)
