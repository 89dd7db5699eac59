"""The recipe: what is combined, in order, with which gain, tint, matte and operator."""

from typing import Annotated, Literal

from pydantic import Field

from glimsum_jobs.keyframes import Fade, Stops, gain_at
from glimsum_jobs.passes import Name, Strict

Operator = Literal["plus", "over", "in", "out", "atop", "multiply", "screen", "lighten", "darken"]
"""Porter & Duff 1984 and W3C Compositing and Blending Level 1, on premultiplied values."""

LAMP_KELVIN = 3200.0
"""Colour temperature a lamp is taken to have when nobody says: studio tungsten."""


class Step(Strict):
    """One line of the recipe."""

    pass_name: Annotated[Name, Field(alias="pass")]
    stops: Stops = 0.0
    fade: Fade = "light"
    tint_mired: Annotated[float, Field(ge=-500, le=500, allow_inf_nan=False)] = 0.0
    """Shift of the lamp's colour along the Planck locus; + is warmer."""
    lamp_kelvin: Annotated[float, Field(ge=1667, le=25000, allow_inf_nan=False)] = LAMP_KELVIN
    matte: Name | None = None
    operator: Operator = "plus"

    def gain(self, frame: int) -> float:
        """Return the linear gain of the step on a frame."""
        return gain_at(self.stops, frame, self.fade)
