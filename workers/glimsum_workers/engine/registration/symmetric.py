"""Many symmetric 2 x 2 matrices at once, by their three numbers."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[np.float64]


@dataclass(frozen=True)
class Symmetric:
    """Symmetric matrices ``((xx, xy), (xy, yy))``, each number an array of (n,)."""

    xx: Numbers
    xy: Numbers
    yy: Numbers

    def scaled(self, factor: float | Numbers) -> "Symmetric":
        """Return the matrices times a number, or each times its own."""
        return Symmetric(self.xx * factor, self.xy * factor, self.yy * factor)

    def plus_unit(self) -> "Symmetric":
        """Return the matrices plus the unit matrix."""
        return Symmetric(self.xx + 1, self.xy, self.yy + 1)

    def softened(self) -> "Symmetric":
        """Return them with 2 % of the trace added, so that an edge can be inverted."""
        more = 0.02 * (self.xx + self.yy) + 1e-12
        return Symmetric(self.xx + more, self.xy, self.yy + more)

    def inverse(self) -> "Symmetric":
        """Return the inverses; infinite where a matrix has none."""
        size = self.xx * self.yy - self.xy**2
        return Symmetric(self.yy / size, -self.xy / size, self.xx / size)

    def times(self, other: "Symmetric") -> "Symmetric":
        """Return the products of matrices that share their axes (so they're symmetric too)."""
        return Symmetric(
            self.xx * other.xx + self.xy * other.xy,
            self.xx * other.xy + self.xy * other.yy,
            self.xy * other.xy + self.yy * other.yy,
        )

    def apply(self, x: Numbers, y: Numbers) -> tuple[Numbers, Numbers]:
        """Return each matrix times its vector."""
        return self.xx * x + self.xy * y, self.xy * x + self.yy * y

    def form(self, x: Numbers, y: Numbers) -> Numbers:
        """Return the quadratic form of each vector."""
        return self.xx * x * x + 2 * self.xy * x * y + self.yy * y * y

    def strongest(self) -> tuple[Numbers, Numbers, Numbers]:
        """Return the larger eigenvalue of each, at least 1e-12, and x, y of its direction."""
        half, apart = (self.xx + self.yy) / 2, np.hypot((self.xx - self.yy) / 2, self.xy)
        angle = np.arctan2(2 * self.xy, self.xx - self.yy) / 2
        return np.maximum(half + apart, 1e-12), np.cos(angle), np.sin(angle)
