"""The recipe: what is combined, in order, with which gain, tint, matte and operator."""

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from glimsum_jobs.cues import Cues, cue_gain, cue_source
from glimsum_jobs.keyframes import Fade, Stops, gain_at
from glimsum_jobs.passes import Name, Strict

Operator = Literal["plus", "over", "in", "out", "atop", "multiply", "screen", "lighten", "darken"]
"""Porter & Duff 1984 and W3C Compositing and Blending Level 1, on premultiplied values."""

LAMP_KELVIN = 3200.0
"""Colour temperature a lamp is taken to have when nobody says: studio tungsten."""


class Step(Strict):
    """One line of the recipe: a pass, a screen insert or an element, and how it is laid on."""

    pass_name: Annotated[Name | None, Field(alias="pass")] = None
    """A pass, or a name of `takes`."""
    insert: Name | None = None
    element: Name | None = None
    less: Name | None = None
    """A pass whose light is taken away from that of `pass` first, both exposed like the unit: of
    haze lit by the key, what the smoke added and took."""
    stops: Stops = 0.0
    cues: Cues | None = None
    """Dark but for these; `stops` is added to their levels."""
    fade: Fade = "light"
    tint_mired: Annotated[float, Field(ge=-500, le=500, allow_inf_nan=False)] = 0.0
    """Shift of the lamp's colour along the Planck locus; + is warmer."""
    lamp_kelvin: Annotated[float, Field(ge=1667, le=25000, allow_inf_nan=False)] = LAMP_KELVIN
    matte: Name | None = None
    operator: Operator = "plus"

    @model_validator(mode="after")
    def _names_one_source(self) -> Self:
        named = [n for n in (self.pass_name, self.insert, self.element) if n is not None]
        if len(named) != 1:
            raise ValueError("a step with exactly one of pass, insert and element")
        if self.less is not None and self.pass_name is None:
            raise ValueError("less only beside pass")
        return self

    @property
    def names(self) -> tuple[str, ...]:
        """Return the passes or takes the step names."""
        return tuple(name for name in (self.pass_name, self.less) if name is not None)

    @property
    def label(self) -> str:
        """Return what the step lays on, as a person would call it."""
        if self.pass_name is not None:
            return self.pass_name if self.less is None else f"{self.pass_name} less {self.less}"
        return f"insert {self.insert}" if self.insert is not None else f"element {self.element}"

    @property
    def varies(self) -> bool:
        """Return whether the gain of the step is another on other frames."""
        return isinstance(self.stops, tuple) or self.cues is not None

    def gain(self, frame: int) -> float:
        """Return the linear gain of the step on a frame."""
        gain = gain_at(self.stops, frame, self.fade)
        return gain if self.cues is None else gain * cue_gain(self.cues, frame, self.fade)

    def shown(self, frame: int) -> int:
        """Return the shot frame whose picture of its passes the step shows on a frame."""
        source = None if self.cues is None else cue_source(self.cues, frame, self.fade)
        return frame if source is None else source

    @property
    def borrowed(self) -> frozenset[int]:
        """Return the frames whose pictures cues show on other frames."""
        return frozenset(cue.source for cue in self.cues or () if cue.source is not None)
