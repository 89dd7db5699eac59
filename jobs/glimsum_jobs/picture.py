"""The primary correction of the whole picture: exposure, slope, offset, power, saturation."""

from typing import Annotated

from pydantic import Field

from glimsum_jobs.keyframes import StopsNumber
from glimsum_jobs.passes import Strict

Slope = Annotated[float, Field(ge=0, le=64, allow_inf_nan=False)]
Offset = Annotated[float, Field(ge=-16, le=16, allow_inf_nan=False)]
Power = Annotated[float, Field(ge=1 / 64, le=64, allow_inf_nan=False)]


class WholePicture(Strict):
    """What is done to the combined picture before it is looked at.

    Stops are a gain on the light. The rest is the ASC CDL, version 1.2, and acts on ACEScct
    codes, whatever the working space: ``(code * slope + offset) ** power`` by channel, then
    saturation about the luma of Rec. 709. Masters stay as they were combined unless `in_masters`
    says otherwise.
    """

    stops: StopsNumber = 0.0
    slope: tuple[Slope, Slope, Slope] = (1.0, 1.0, 1.0)
    """R, G, B."""
    offset: tuple[Offset, Offset, Offset] = (0.0, 0.0, 0.0)
    """R, G, B, in ACEScct codes; one stop is 0.0571."""
    power: tuple[Power, Power, Power] = (1.0, 1.0, 1.0)
    """R, G, B."""
    saturation: Annotated[float, Field(ge=0, le=16, allow_inf_nan=False)] = 1.0
    in_masters: bool = False
    """Whether masters are corrected too; nothing is clamped there."""

    @property
    def changes_nothing(self) -> bool:
        """Return whether the picture stays as it is."""
        return self.model_copy(update={"in_masters": False}) == WholePicture()
