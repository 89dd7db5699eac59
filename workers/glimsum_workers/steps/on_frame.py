"""What was made for one frame so far: no pass or matte is made twice, none stays for nothing."""

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np

from glimsum_jobs.problems import Problem
from glimsum_jobs.recipe import Step
from glimsum_workers.engine.codes import Picture, Plane
from glimsum_workers.engine.combine import cover
from glimsum_workers.engine.hot_pixels import clipped_share
from glimsum_workers.engine.laying import bytes_of
from glimsum_workers.engine.resample.quick import Layer, lay_together
from glimsum_workers.light.outage_remarks import LIGHT, LIGHT_STRIDE, mean_light
from glimsum_workers.light.passes import PassLight
from glimsum_workers.light.unmoved import UnmovedLight

MOST_WAITING = 2
"""Pictures of 32-bit floats that sources of waiting layers may fill: four of halves."""

Shown = tuple[str, int]
"""A pass or takes, and the shot frame whose picture it is."""


@dataclass
class OnFrame:
    """Light and mattes of one frame, and what is told of them.

    Attributes
    ----------
    frame : int
        Shot frame.
    lights : dict of Shown to PassLight
        Passes in their place.
    unmoved : dict of Shown to UnmovedLight
        Passes that are brought to their place as they are laid.
    mattes : dict of str to Plane
    figures : dict of str to float
        Clipped shares and mean light by pass.
    replaced, mended : int
        Samples that were not finite, and hot ones.
    remarks : list of Problem
        Takes that had to be left out.
    waiting : list of Layer
        What is to be added to the ground before anything else is laid on it.
    """

    frame: int
    lights: dict[Shown, PassLight] = field(default_factory=dict)
    unmoved: dict[Shown, UnmovedLight] = field(default_factory=dict)
    mattes: dict[str, Plane] = field(default_factory=dict)
    figures: dict[str, float] = field(default_factory=dict)
    replaced: int = 0
    mended: int = 0
    remarks: list[Problem] = field(default_factory=list)
    waiting: list[Layer] = field(default_factory=list)

    def take_light(self, shown: Shown, light: PassLight) -> None:
        """Keep a pass in its place, and what is to be told of it."""
        self.lights[shown] = light
        self.remarks.extend(light.remarks)
        self._tell(shown, light.clipped_share, light.replaced, light.mended)
        if shown[1] == self.frame:
            self.figures[f"{LIGHT}{shown[0]}"] = mean_light(light.picture.rgb)

    def take_unmoved(self, shown: Shown, light: UnmovedLight) -> None:
        """Keep a pass that is still to be brought to its place, and what is to be told of it."""
        self.unmoved[shown] = light
        told = light.spoilt
        share = 0.0 if told.clipped is None else clipped_share(told.clipped)
        self._tell(shown, share, told.replaced, told.mended)
        if shown[1] == self.frame:
            mean = light.sample(LIGHT_STRIDE).mean(dtype=np.float64)
            self.figures[f"{LIGHT}{shown[0]}"] = float(mean)

    def let_wait(self, layer: Layer, ground: Picture) -> None:
        """Let a layer wait for others it is added together with, as long as there is room."""
        self.waiting.append(layer)
        held = sum(bytes_of(each.source) for each in self.waiting)
        if held >= MOST_WAITING * ground.rgb.nbytes:
            self.add_waiting(ground)

    def add_waiting(self, ground: Picture) -> None:
        """Add what waits to `ground`."""
        if self.waiting:
            lay_together(self.waiting, ground.rgb)
            mattes = [each.matte for each in self.waiting]
            whole = any(matte is None for matte in mattes)  # which covers all there is
            if ground.alpha is not None:
                for matte in [None] if whole else mattes:
                    cover(ground.alpha, matte)
        self.waiting = []

    def keep_only(self, wanted: frozenset[Shown]) -> None:
        """Let go of the light of passes that no later step shows."""
        for made in (self.lights, self.unmoved):
            for shown in made.keys() - wanted:
                del made[shown]

    def _tell(self, shown: Shown, clipped: float, replaced: int, mended: int) -> None:
        self.figures[f"clipped_share:{shown[0]}"] = clipped
        self.replaced += replaced
        self.mended += mended


def shown_in(steps: Iterable[Step], frame: int) -> frozenset[Shown]:
    """Return what some steps show on a frame."""
    return frozenset((name, step.shown(frame)) for step in steps for name in step.names)
