"""Draws of scene, light and motion for long benches of registration; each can be rerun by name."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import cast, get_args

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.motion import STILL, Motion
from glimsum_workers.engine.registration.bands import Band, band_for
from glimsum_workers.engine.registration.prepared import Prepared
from glimsum_workers.engine.registration.register import register
from support.cards import Card, Filmed
from support.clutter import Stock
from support.clutter_pairs import EXPOSURES, Pair, Set, draw_shift
from support.degraded import Light

Size = tuple[int, int]

LIGHTS = ("full", "side", "practicals", "dark", "flash", "fog", "matte")
SCENES: tuple[tuple[Stock, int], ...] = (
    ("mixed", 201),
    ("crates", 202),
    ("nets", 203),
    ("ropes", 204),
    ("iron", 205),
    ("mixed", 206),
)
"""Seeds that no setting of the method was chosen on."""
FAILURE_PX = 0.5


@dataclass(frozen=True)
class Draw:
    """One pair: a scene, a light, and the number that the motion and the noise are drawn from.

    `grooves` above 0 paints hollows dark. Every fourth draw turns and grows a little too.
    """

    stock: Stock
    seed: int
    light: str
    number: int
    grooves: float = 0.0

    @property
    def name(self) -> str:
        """Return the words that `read_draw` reads."""
        grooved = f":{self.grooves:g}" if self.grooves else ""
        return f"{self.stock}:{self.seed}:{self.light}:{self.number}{grooved}"

    def scene(self, size: Size) -> Set:
        """Return the scene at a size (height, width) of picture."""
        return Set(self.seed, size, grooves=self.grooves, stock=self.stock)

    def motion(self) -> Motion:
        """Return the true motion."""
        shift = draw_shift(10_000 + self.number)
        if self.number % 4:
            return shift
        random = np.random.default_rng(20_000 + self.number)
        turn, growth = random.normal(0, [0.011, 1.5e-4])  # 2e-4 radians
        return Motion(shift.dx, shift.dy, float(turn), 1 + float(growth))

    def measure(self, size: Size) -> "Outcome":
        """Shoot the pair and register it."""
        noise_seed = 30_000 + self.number
        return Outcome(self, self.scene(size).pair(self.light, self.motion(), noise_seed))

    def measure_after(self, fault: Callable[[Light], Prepared], size: Size) -> "Outcome":
        """Shoot the pair, let a fault befall both pictures, and register it."""
        scene, noise_seed = self.scene(size), 30_000 + self.number
        band = band_for(same_light=self.light == "full")
        seen = scene.see(self.light, self.motion(), noise_seed)
        moving = fault(Light(seen, EXPOSURES[self.light], noise_seed, band=band))
        still = fault(_reference_light(scene, band))
        found = register(still, moving, same_light=self.light == "full")
        return Outcome(self, Pair(found, self.motion(), moving.size))

    def measure_on_card(self, card: Card, size: Size) -> tuple["Outcome", "Outcome"]:
        """Shoot the pair, let a card hold both pictures, and register what it gives back.

        Returned are the outcome against the camera's motion, and against that of what the files
        show: the coder has displaced either picture by an amount that OpenCV tells.
        """
        scene, noise_seed = self.scene(size), 30_000 + self.number
        band = band_for(same_light=self.light == "full")
        seen = scene.see(self.light, self.motion(), noise_seed)
        moving = card.film(Light(seen, EXPOSURES[self.light], noise_seed, band=band))
        still = _reference_on(card, scene, band)
        found = register(still.prepared, moving.prepared, same_light=self.light == "full")
        true = self.motion()
        shown = replace(
            true,
            dx=true.dx + moving.moved_px[0] - still.moved_px[0],
            dy=true.dy + moving.moved_px[1] - still.moved_px[1],
        )
        return Outcome(self, Pair(found, true, size)), Outcome(self, Pair(found, shown, size))


def _reference_light(scene: Set, band: Band) -> Light:
    shown = scene.see("full", STILL, 1)
    return Light(shown, EXPOSURES["full"], 1, is_reference=True, band=band)


@lru_cache(maxsize=8)
def _reference_on(card: Card, scene: Set, band: Band) -> Filmed:
    return card.film(_reference_light(scene, band))


@dataclass(frozen=True)
class Outcome:
    """What came of a draw."""

    draw: Draw
    pair: Pair

    def fails(self) -> bool:
        """Return whether the error at the centre is above half a pixel."""
        return self.pair.error() > FAILURE_PX

    def tell(self) -> str:
        """Return name, truth, what was found, how far off and how sure, in one line."""
        found, truth = self.pair.found, self.pair.truth
        word = "trusted" if found.trusted else f"not trusted ({found.reason})"
        return (
            f"{self.draw.name}: true {truth.dx:.3f} {truth.dy:.3f}, found {found.motion.dx:.3f} "
            f"{found.motion.dy:.3f}, off {self.pair.error():.3f} px = {self.pair.in_sigmas():.1f} "
            f"sigma, {word}"
        )


def draws(
    scenes: tuple[tuple[Stock, int], ...] = SCENES,
    lights: tuple[str, ...] = LIGHTS,
    *,
    each: int = 8,
    grooves: float = 0.0,
) -> Iterator[Draw]:
    """Yield draws scene by scene; no two share motion and noise."""
    for stock, seed in scenes:
        for place, light in enumerate(lights):
            first = 1000 * seed + 100 * place
            for number in range(first, first + each):
                yield Draw(stock, seed, light, number, grooves)


def read_draw(name: str) -> Draw:
    """Return the draw of a name ``stock:seed:light:number[:grooves]``."""
    parts = name.split(":")
    if len(parts) not in (4, 5) or parts[0] not in get_args(Stock) or parts[2] not in LIGHTS:
        raise ValueError(f"{name!r} is no draw; expected such as nets:203:flash:203401")
    grooves = float(parts[4]) if len(parts) == 5 else 0.0
    return Draw(cast(Stock, parts[0]), int(parts[1]), parts[2], int(parts[3]), grooves)


def within(outcomes: list[Outcome], sigmas: float) -> float:
    """Return the share of errors along x and y, of trusted draws, within some sigmas."""
    shares: list[NDArray[np.bool_]] = [
        np.abs(each.pair.errors()[0]) <= sigmas * each.pair.found.sigma_px
        for each in outcomes
        if each.pair.found.trusted
    ]
    return float(np.mean(np.concatenate(shares))) if shares else float("nan")
