"""Registrations made up for tests of drift: known motions, errors drawn from a known law."""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.drift.track import Source, Track
from glimsum_workers.engine.motion import Affine, Motion, Registration

SIZE = (540, 960)
Numbers = NDArray[np.float64]


def found(
    motion: Motion | Affine,
    sigma_px: float = 0.003,
    *,
    trusted: bool = True,
    alarm: float = 1.0,
    turn_px: float = 0.01,
) -> Registration:
    """Return a registration that found a motion, its corners unsure by `turn_px` more."""
    corner = float(np.hypot(sigma_px, turn_px))
    tiles: NDArray[np.float32] = np.zeros((0, 5), dtype=np.float32)
    return Registration(motion, sigma_px, corner, trusted=trusted, alarm=alarm, tiles=tiles)


def nothing_found() -> Registration:
    """Return a registration that found nothing."""
    return found(Motion(0.0, 0.0), np.inf, trusted=False)


def along(shifts: Numbers, sigma_px: float = 0.003) -> dict[int, Registration]:
    """Return registrations of frames 0, 1, 2 ... from rows of dx, dy."""
    return {
        frame: found(Motion(float(dx), float(dy)), sigma_px)
        for frame, (dx, dy) in enumerate(shifts)
    }


def shifts_of(track: Track) -> Numbers:
    """Return dx, dy of every frame."""
    return np.array([[each.dx, each.dy] for each in track.motions])


def neighbour(shifts: Mapping[int, Sequence[float]], sigma_px: float = 0.02) -> Track:
    """Return the track of another pass."""
    count = len(shifts)
    sources: tuple[Source, ...] = tuple("measured" for _ in shifts)
    return Track(
        frames=tuple(shifts),
        motions=tuple(Motion(each[0], each[1]) for each in shifts.values()),
        sigma_px=np.full(count, sigma_px),
        corner_sigma_px=np.full(count, sigma_px * 1.5),
        trusted=np.full(count, fill_value=True),
        alarm=np.ones(count),
        sources=sources,
    )
