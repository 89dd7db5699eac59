"""Clips as camera cards hold them: a picture after its card, and where the coder has put it."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import shift

from glimsum_workers.engine.registration.prepared import Prepared
from support.clutter import Floats
from support.clutter_film import Recorded
from support.coded import GROUP, Luma, at_rate_factor, from_group_card, from_intra_card
from support.degraded import Light, ready
from support.luma import as_luma, coder_shift, from_luma


@dataclass(frozen=True)
class Filmed:
    """A picture as a card gives it back.

    Attributes
    ----------
    prepared : Prepared
        Of what the card gave back.
    moved_px : tuple of float
        dx, dy by which the coder displaced it (`luma.coder_shift`).
    """

    prepared: Prepared
    moved_px: tuple[float, float]


@dataclass(frozen=True)
class Card:
    """How a card codes a picture.

    Attributes
    ----------
    coder : callable
        From pictures in the order of showing and the number of one to that one coded.
    bits : int
        Of a code.
    group : int
        Pictures that are coded together; which of them it is comes with the picture's chances.
    step : tuple of float
        dx, dy that the camera moves from one of them to the next, pixels.
    """

    coder: Callable[[Sequence[Luma], int], Luma]
    bits: int = 8
    group: int = 1
    step: tuple[float, float] = (0.0, 0.0)

    def film(self, light: Light) -> Filmed:
        """Record the light, code it among its neighbours, decode and prepare it."""
        at = light.seed % self.group
        recorded = light.record()
        own = as_luma(recorded.light * light.exposure, self.bits)
        frames = [
            own if number == at else self._neighbour(light, number - at)
            for number in range(self.group)
        ]
        coded = self.coder(frames, at)
        back = Recorded(from_luma(coded) / np.float32(light.exposure), recorded.clipped)
        return Filmed(ready(light, back), coder_shift(own, coded))

    def _neighbour(self, light: Light, steps: int) -> Luma:
        seen = _moved(light.seen, steps * self.step[0], steps * self.step[1])
        seed = 100 * light.seed + 50 + steps
        recorded = Light(seen, light.exposure, seed).record()
        return as_luma(recorded.light * light.exposure, self.bits)


def _moved(seen: Floats, dx: float, dy: float) -> Floats:
    if not (dx or dy):
        return seen
    return np.asarray(shift(seen, (dy, dx), order=3, mode="nearest"), dtype=np.float32)


def _alone(frames: Sequence[Luma], at: int) -> Luma:
    return from_intra_card(frames[at])


def at_crf(crf: int) -> Card:
    """Return a card that gives a single frame whatever a constant rate factor takes."""
    return Card(lambda frames, at: at_rate_factor(frames[at], crf))


CARDS = {
    "intra card": Card(_alone, bits=10),
    "intra, 8 bits": Card(_alone),
    "group card": Card(from_group_card, group=GROUP),
    "group, moving": Card(from_group_card, group=GROUP, step=(1.3, 0.4)),
}
"""240 Mb/s for 3840 x 2160 at 25 frames a second, each frame alone; 100 Mb/s in groups of a dozen,
of a camera that stands and of one that moves (see `coded`)."""
