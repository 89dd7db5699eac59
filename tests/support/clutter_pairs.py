"""Pairs of recorded pictures of the quay with the motion between them known."""

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.motion import Motion, Registration
from glimsum_workers.engine.registration.bands import ACROSS_LIGHTS, Band, band_for
from glimsum_workers.engine.registration.models import Model
from glimsum_workers.engine.registration.prepared import Prepared, prepare
from glimsum_workers.engine.registration.register import register
from support.clutter import Floats, Stock
from support.clutter_film import MARGIN, Recorded, move_camera, record, through_lens
from support.clutter_light import light_quay, smoke

EXPOSURES = {
    "full": 2.0,
    "side": 2.0,
    "practicals": 0.5,
    "dark": 1 / 150,
    "flash": 1.0,
    "fog": 4.0,
    "matte": 1.0,
}
"""The dark pass is the practicals with the brightest surfaces at 1/100 of clipping."""


@dataclass(frozen=True)
class Pair:
    """What was found, and how far it is from the truth."""

    found: Registration
    truth: Motion
    size: tuple[int, int]

    def errors(self) -> NDArray[np.float64]:
        """Return the error vectors at the centre and the four corners, pixels: (5, 2)."""
        height, width = self.size
        corners = [[0, 0], [width, 0], [0, height], [width, height]]
        points = np.array([[width / 2, height / 2], *corners], dtype=np.float64)
        return self.found.motion.at(points, self.size) - self.truth.at(points, self.size)

    def error(self) -> float:
        """Return the length of the error at the centre, pixels."""
        return float(np.hypot(*self.errors()[0]))

    def worst_corner(self) -> float:
        """Return the largest error in a corner, pixels."""
        return float(np.hypot(*self.errors()[1:].T).max())

    def in_sigmas(self) -> float:
        """Return the larger of the errors along x and y in reported sigmas."""
        return float(np.abs(self.errors()[0]).max() / self.found.sigma_px)


@dataclass(frozen=True)
class Set:
    """A quay through the lens, in every light."""

    seed: int
    size: tuple[int, int]
    grooves: float = 0.0
    moved: tuple[float, float, float] = (0.0, 0.0, 0.0)
    stock: Stock = "mixed"

    def fine(self, light: str) -> Floats:
        """Return one light on the fine grid, margin included."""
        return _through_lens(self)[{"dark": "practicals"}.get(light, light)]

    def shoot(
        self, light: str, motion: Motion, seed: int, exposure: float | None = None
    ) -> Recorded:
        """Return the picture that the camera records after a motion."""
        seen = self.see(light, motion, seed)
        return record(seen, seed, exposure=EXPOSURES[light] if exposure is None else exposure)

    def see(self, light: str, motion: Motion, seed: int) -> Floats:
        """Return the light that falls on the sensor after a motion; the seed is the smoke's."""
        fine = self.fine(light)
        if light == "fog":
            fine = fine + smoke(seed, fine.shape)
        return move_camera(fine, motion.dx, motion.dy, motion.rotation_deg, motion.scale)

    def reference(self, band: Band = ACROSS_LIGHTS) -> Prepared:
        """Return the fully lit picture, still and prepared."""
        return _reference(self, band)

    def pair(self, light: str, motion: Motion, seed: int, *, model: Model = "similarity") -> Pair:
        """Shoot a light after a motion and register it against the full light."""
        shot = self.shoot(light, motion, seed)
        band = band_for(same_light=light == "full")
        moving = prepare(shot.light, clipped=shot.clipped, band=band)
        found = register(self.reference(band), moving, model=model, same_light=light == "full")
        return Pair(found, motion, self.size)


def draw_shift(seed: int) -> Motion:
    """Return a shift of any direction, 0.05 to 8 pixels long, as many short ones as long ones."""
    random = np.random.default_rng(seed)
    length, angle = np.exp(random.uniform(np.log(0.05), np.log(8))), random.uniform(0, 2 * np.pi)
    return Motion(float(length * np.cos(angle)), float(length * np.sin(angle)))


def rms(values: list[float]) -> float:
    """Return the root mean square."""
    return float(np.sqrt(np.mean(np.square(values))))


def forget_scenes() -> None:
    """Give the memory of all scenes back."""
    _through_lens.cache_clear()
    _reference.cache_clear()


@cache
def _through_lens(quay: Set) -> dict[str, Floats]:
    size = 2 * (quay.size[0] + 2 * MARGIN), 2 * (quay.size[1] + 2 * MARGIN)
    lit = light_quay(quay.seed, size, stock=quay.stock, grooves=quay.grooves, moved=quay.moved)
    return {name: through_lens(light) for name, light in lit.light.items()}


@cache
def _reference(quay: Set, band: Band) -> Prepared:
    shot = quay.shoot("full", Motion(0.0, 0.0), 1)
    return prepare(shot.light, clipped=shot.clipped, band=band)
