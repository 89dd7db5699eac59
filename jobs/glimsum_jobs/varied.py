"""What a wedge tries in grades: one value of one step."""

from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from glimsum_jobs.keyframes import Out, StopsNumber

MOST_VALUES = 25
MOST_VARIED = 2
MOST_PICTURES = 150
"""Cells times frames of one wedge."""
LEAST_WIDTH_PX, MOST_WIDTH_PX = 64, 4096
"""Largest width of a picture of a wedge."""


class Varied(BaseModel):
    """One value of one step that is tried in grades."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    name: Annotated[str, Field(min_length=1, max_length=40)]
    """A pass, an insert or an element."""
    number: int | None = None
    """Which of the steps of that name, from 1."""
    field: Literal["stops", "tint_mired", "cue"] = "stops"
    """cue: the stops of one cue."""
    cue: float | None = None
    """Number of the cue."""
    values: Annotated[
        tuple[StopsNumber | Out | float, ...], Field(min_length=1, max_length=MOST_VALUES)
    ]
    """Stops or mired; of a step with keyframes what is added to every one of them."""

    @model_validator(mode="after")
    def _cue_is_named(self) -> Self:
        if (self.field == "cue") != (self.cue is not None):
            raise ValueError("cue is the number of the cue where the field is cue, else left out")
        return self
