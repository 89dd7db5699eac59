"""How much light a pass received, from what the camera was set to."""

import math
from fractions import Fraction
from typing import Annotated, Any, NamedTuple, Self

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    WithJsonSchema,
    field_validator,
    model_validator,
)

from glimsum_jobs.errors import LightError
from glimsum_jobs.marked_numbers import aperture_stops, time_stops


def _seconds(value: Any) -> Any:
    """Turn ``"1/60"`` into seconds; leave numbers to pydantic."""
    if not isinstance(value, str):
        return value
    over, slash, under = value.strip().partition("/")
    if slash and over.strip().isdecimal() and under.strip().isdecimal() and int(under) > 0:
        return float(Fraction(int(over), int(under)))
    try:
        return float(value)
    except ValueError:
        what = f"seconds {value!r} can't be read; write a number such as 8 or a fraction as 1/60"
        raise ValueError(what) from None


Seconds = Annotated[
    float,
    BeforeValidator(_seconds),
    WithJsonSchema(
        {
            "anyOf": [
                {"type": "number", "exclusiveMinimum": 0, "maximum": 86400},
                {"type": "string", "pattern": r"^\s*\d+\s*/\s*[1-9]\d*\s*$"},
            ]
        }
    ),
]


class Exposed(BaseModel):
    """Light of a pass against the unit pass.

    Attributes
    ----------
    stops : float
        How much MORE light than the unit pass, as log2; the pass is multiplied by 2^-stops.
    remarks : list of str
        Numbers that stand on no marked series and were taken as they are.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    stops: float
    remarks: list[str] = []


class _Settings(NamedTuple):
    """Logarithms to base 2 of seconds and N^2, ISO speed, density, remarks."""

    time: float
    aperture: float
    iso: float
    nd: float
    remarks: list[str]


class Exposure(BaseModel):
    """Exposure of a pass: stops, or what the camera was set to.

    Marked f-numbers and fractions of a second are names of the third-stop (or half-stop) series
    and mean its exact members: f/11 is 2^(7/2) and 1/125 s is 2^-7 s. Whole seconds and ISO
    numbers are taken as they are. The formula is t S / N^2 10^-D (ISO 2720, APEX; D is the
    density of ISO 5).

    Attributes
    ----------
    stops : float or None
        More light than 0 stops, -30 to 30.
    seconds : float or None
        Exposure time, above 0 to 86400 s; a number or text such as ``1/60``.
    f_number : float or None
        0.5 to 128.
    iso : float or None
        ISO speed, 1 to 10 000 000.
    nd : float
        Density of the neutral filters together, 0 to 6: 0.3 takes one stop, nearly.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    stops: float | None = Field(default=None, ge=-30, le=30)
    seconds: Seconds | None = Field(default=None, gt=0, le=86400)
    f_number: float | None = Field(default=None, ge=0.5, le=128)
    iso: float | None = Field(default=None, ge=1, le=10_000_000)
    nd: float = Field(default=0.0, ge=0)

    @field_validator("nd")
    @classmethod
    def _density(cls, nd: float) -> float:
        if nd > 6:
            what = (
                f"nd {nd:g} is not a density (0 to 6): a factor? "
                f"A filter of factor {nd:g} has density {math.log10(nd):.2g}"
            )
            raise ValueError(what)
        return nd

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        camera = {"seconds": self.seconds, "f_number": self.f_number, "iso": self.iso}
        given = [name for name, value in camera.items() if value is not None]
        missing = [name for name, value in camera.items() if value is None]
        if self.stops is not None and (given or self.nd):
            others = ", ".join(given or ["nd"])
            what = f"give stops alone, or the camera's numbers; seen both: stops and {others}"
            raise ValueError(what)
        if self.stops is None and missing:
            lacking = ", ".join(missing)
            what = f"exposure lacks {lacking}; give seconds, f_number and iso, or stops alone"
            raise ValueError(what)
        return self

    def stops_against(self, unit: "Exposure") -> Exposed:
        """Return how much more light than `unit` this exposure gave.

        Parameters
        ----------
        unit : Exposure
            Exposure of the unit pass, given in the same way (stops, or camera numbers).

        Returns
        -------
        Exposed
            Stops, exact to float64 rounding, with remarks on the numbers of this exposure.

        Raises
        ------
        LightError
            When one is given in stops and the other in camera numbers.
        """
        if (self.stops is None) != (unit.stops is None):
            raise LightError(
                "exposures are given in two ways that can't be compared",
                seen=f"{self}, against the unit pass with {unit}",
                expected="both as stops, or both as seconds, f_number and iso",
                remedy="State the exposure of both passes the same way.",
            )
        if self.stops is not None and unit.stops is not None:
            return Exposed(stops=self.stops - unit.stops)
        mine, base = _settings(self), _settings(unit)
        stops = (
            (mine.time - base.time)
            + math.log2(mine.iso / base.iso)
            - (mine.aperture - base.aperture)
            - (mine.nd - base.nd) * math.log2(10)
        )
        return Exposed(stops=stops, remarks=mine.remarks)

    def exposure_factor(self) -> float:
        """Return t S / N^2 10^-D with marked numbers resolved, or 2^stops."""
        if self.stops is not None:
            return math.exp2(self.stops)
        camera = _settings(self)
        return math.exp2(camera.time - camera.aperture) * camera.iso * 10**-camera.nd

    def __str__(self) -> str:
        """Read as ``8 s f/11 ISO 400 ND 0.6`` or ``-2 stops``."""
        if self.stops is not None:
            return f"{self.stops:g} stops"
        filters = f" ND {self.nd:g}" if self.nd else ""
        return f"{self.seconds:g} s f/{self.f_number:g} ISO {self.iso:g}{filters}"


def _settings(exposure: Exposure) -> _Settings:
    """Return the camera's numbers with marks resolved."""
    if exposure.seconds is None or exposure.f_number is None or exposure.iso is None:
        raise LightError(
            "exposure lacks camera numbers",
            seen=str(exposure),
            expected="seconds, f_number and iso",
        )
    time, time_remark = time_stops(exposure.seconds)
    aperture, aperture_remark = aperture_stops(exposure.f_number)
    remarks = [remark for remark in (time_remark, aperture_remark) if remark]
    return _Settings(time, aperture, exposure.iso, exposure.nd, remarks)
