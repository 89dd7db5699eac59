"""A scene of a near and a far layer seen by a camera that travels: the displacement of each known.

The layers are periodic random textures with soft holes in the near one, moved by phases in the
spectrum (scipy.ndimage.fourier_shift), which the project does not use.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import fourier_shift, gaussian_filter

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Layers:
    """Two layers, (height, width, 3), light about 0.5, and where the near one is (0..1)."""

    seed: int
    size: tuple[int, int] = (240, 320)

    def see(self, near: tuple[float, float], far: tuple[float, float]) -> Floats:
        """Return the picture with the layers displaced by (x, y) pixels."""
        cover = _moved(self.cover, near)[..., None]
        layers = [
            np.stack([_moved(each[..., c], shift) for c in range(3)], axis=2)
            for each, shift in ((self._textures[0], near), (self._textures[1], far))
        ]
        return np.asarray(cover * layers[0] + (1 - cover) * layers[1])

    def displacement(self, near: tuple[float, float], far: tuple[float, float]) -> Floats:
        """Return dx, dy of what is seen at each pixel of the scene at rest: (height, width, 2)."""
        in_front = (self.cover > 0.5)[..., None]
        return np.where(in_front, np.array(near), np.array(far))

    @cached_property
    def cover(self) -> Floats:
        """Return where the near layer is."""
        random = np.random.default_rng(self.seed + 10)
        blobs = gaussian_filter(random.normal(size=self.size), 22, mode="wrap")
        return np.asarray(gaussian_filter((blobs > 0).astype(float), 1.0, mode="wrap"))

    @cached_property
    def _textures(self) -> tuple[Floats, Floats]:
        random = np.random.default_rng(self.seed)
        near, far = (_texture(random, self.size) for _ in range(2))
        return near, far


def _texture(random: np.random.Generator, size: tuple[int, int]) -> Floats:
    noise = random.normal(size=(*size, 3))
    soft = np.stack([gaussian_filter(noise[..., c], 1.2, mode="wrap") for c in range(3)], axis=2)
    return np.asarray(0.5 + soft / soft.std() * 0.1)


def _moved(plane: Floats, shift: tuple[float, float]) -> Floats:
    spectrum = fourier_shift(np.fft.fft2(plane), (shift[1], shift[0]))
    return np.asarray(np.fft.ifft2(spectrum).real)
