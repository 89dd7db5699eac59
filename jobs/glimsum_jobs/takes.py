"""Takes: a pass shot more than once, and how its takes become one light."""

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from glimsum_jobs.passes import Name, Strict

FEWEST_FOR_SIGMA = 5
"""Takes of which a deviation can be told."""


class Takes(Strict):
    """One light from several takes of a pass; a step names it as it names a pass."""

    of: Annotated[tuple[Name, ...], Field(min_length=2, max_length=16)]
    """Passes, each with its own files, exposure, drift and level. They are not added by
    themselves where a job has no recipe."""
    combine: Literal["mean", "median"] = "mean"
    """mean: by the light each take received, the least noise. median: what shows in a minority of
    the takes only is gone."""
    sigma: Annotated[float, Field(ge=2, le=20, allow_inf_nan=False)] | None = None
    """With mean and five takes or more: pixels further than so many deviations from the median of
    the takes are left out."""

    @model_validator(mode="after")
    def _fits(self) -> Self:
        if len(set(self.of)) < len(self.of):
            raise ValueError("each take once")
        if self.sigma is not None and self.combine != "mean":
            raise ValueError("sigma only with combine: mean")
        if self.sigma is not None and len(self.of) < FEWEST_FOR_SIGMA:
            raise ValueError(f"sigma only with {FEWEST_FOR_SIGMA} takes or more")
        return self
