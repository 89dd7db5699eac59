"""A standing camera that films one pass of the quay frame by frame, trembling a little."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.drift.locked import solve_locked
from glimsum_workers.engine.drift.track import Track
from glimsum_workers.engine.motion import Motion, Registration
from glimsum_workers.engine.registration.bands import ACROSS_LIGHTS, GENERAL, Band
from glimsum_workers.engine.registration.prepared import Prepared, prepare
from glimsum_workers.engine.registration.register import register
from support.clutter_pairs import EXPOSURES, Set

CONSTANT = Motion(1.7, -1.1, 0.008, 1.0001)
TREMBLE_PX = 0.04


@dataclass(frozen=True)
class StaticShot:
    """A pass of a standing camera: frames 0, 1, 2 ..., each with its own small shift.

    `exposure_factor` is of the exposure that suits the light; `dead` frames can't be read.
    """

    scene: Set
    light: str
    count: int
    exposure_factor: float = 1.0
    dead: tuple[int, ...] = ()
    _kept: dict[tuple[int, Band], Prepared] = field(default_factory=dict, compare=False)

    def truth(self, frame: int) -> Motion:
        """Return the true motion from the reference to a frame."""
        random = np.random.default_rng([frame, 5])
        dx, dy = random.normal(0, TREMBLE_PX, 2)
        c = CONSTANT
        return Motion(c.dx + float(dx), c.dy + float(dy), c.rotation_deg, c.scale)

    def frames(self) -> list[int]:
        """Return the frames that can be read."""
        return [frame for frame in range(self.count) if frame not in self.dead]

    def prepared(self, frame: int, band: Band) -> Prepared:
        """Return a frame as recorded, made ready."""
        if (frame, band) not in self._kept:
            exposure = EXPOSURES[self.light] * self.exposure_factor
            shot = self.scene.shoot(self.light, self.truth(frame), 700 + frame, exposure)
            self._kept[frame, band] = prepare(shot.light, clipped=shot.clipped, band=band)
        return self._kept[frame, band]

    def across(self) -> dict[int, Registration]:
        """Register every frame with the reference, which stands still."""
        still, band = self.scene.reference(ACROSS_LIGHTS), ACROSS_LIGHTS
        return {frame: register(still, self.prepared(frame, band)) for frame in self.frames()}

    def within(self, best: int) -> dict[int, Registration]:
        """Register every frame with the best one of the pass."""
        one = self.prepared(best, GENERAL)
        others = [frame for frame in self.frames() if frame != best]
        return {
            frame: register(one, self.prepared(frame, GENERAL), same_light=True) for frame in others
        }

    def solve(self, best: int, neighbours: Mapping[str, Track] | None = None) -> Track:
        """Solve for the track of the pass."""
        return solve_locked(
            self.across(),
            self.within(best),
            best=best,
            size=self.scene.size,
            frames=range(self.count),
            neighbours=neighbours,
        )

    def errors(self, track: Track, frames: Sequence[int] | None = None) -> NDArray[np.float64]:
        """Return by how much a track misses dx, dy of frames: (n, 2), pixels."""
        rows = []
        for frame in range(self.count) if frames is None else frames:
            found, true = track.at(frame), self.truth(frame)
            rows.append([found.dx - true.dx, found.dy - true.dy])
        return np.array(rows)
