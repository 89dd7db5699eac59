"""What two pictures in the same light say of a displacement, pixel by pixel."""

from dataclasses import dataclass

import numpy as np

from glimsum_workers.engine.codes import Plane
from glimsum_workers.engine.parallax.reading import as_plane32, pixel_grid, read_at, slopes, smooth
from glimsum_workers.engine.registration.bands import GENERAL
from glimsum_workers.engine.registration.prepared import Level

_RADIUS = 3
_SHARE_OF_MISFIT = 0.3
"""Of the squared difference of a neighbourhood that counts as its noise."""


@dataclass(frozen=True)
class Matched:
    """Slope and difference of two pictures, one of them displaced; planes of (height, width).

    Attributes
    ----------
    slope_x, slope_y : Plane
        Mean of both, per pixel of the level.
    left : Plane
        The displaced one less the other.
    weight : Plane
        Over the variance of `left`; 0 outside the picture and where clipped, less for outliers.
    """

    slope_x: Plane
    slope_y: Plane
    left: Plane
    weight: Plane


@dataclass(frozen=True)
class Match:
    """Two band-passed pictures, and where the first is valid (1) and where not (0)."""

    still: Plane
    moving: Plane
    valid: Plane
    slope_x: Plane
    slope_y: Plane

    def at(self, across: Plane, down: Plane) -> Matched:
        """Return what is left at a displacement, (height, width) each, pixels of the level."""
        columns, rows = pixel_grid(self.still.shape)
        columns, rows = columns + across, rows + down
        height, width = self.still.shape
        inside = (columns > 1) & (rows > 1) & (columns < width - 2) & (rows < height - 2)
        inside = as_plane32(inside * self.valid)
        moved = read_at(self.moving, columns, rows)
        slope_x, slope_y = slopes(moved)
        left = moved - self.still
        # Occlusions and highlights that move by themselves are let go (Geman & McClure).
        around = smooth(as_plane32(left * left * inside), 2 * _RADIUS) / (
            smooth(inside, 2 * _RADIUS) + 1e-3
        )
        scale = np.sqrt(around) + np.float32(0.3)
        noise = GENERAL.noise + _SHARE_OF_MISFIT * smooth(as_plane32(left * left), _RADIUS)
        return Matched(
            slope_x=np.float32(0.5) * (self.slope_x + slope_x),
            slope_y=np.float32(0.5) * (self.slope_y + slope_y),
            left=left,
            weight=np.asarray(inside / (1 + (left / (2 * scale)) ** 2) / noise, dtype=np.float32),
        )


def match_pair(still: Level, moving: Level) -> Match:
    """Return two levels of the same size ready to be matched."""
    plane = still.band.astype(np.float32)
    valid = np.ones_like(plane) if still.valid is None else still.valid.astype(np.float32)
    return Match(plane, moving.band.astype(np.float32), valid, *slopes(plane))
