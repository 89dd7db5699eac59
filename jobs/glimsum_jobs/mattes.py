"""Mattes: weight pictures 0..1 that say where a step counts."""

from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import Discriminator, Field, Tag

from glimsum_jobs.frame_ranges import FrameNumber, source_number
from glimsum_jobs.matte_shapes import Feather, ShapeKeys
from glimsum_jobs.passes import Level, Name, Strict

LightLevel = Annotated[float, Field(ge=0, le=65504, allow_inf_nan=False)]
"""Luminance in linear light of the working space, at the exposure of the unit pass."""

Sigmas = Annotated[float, Field(ge=0, le=1000, allow_inf_nan=False)]


class Matted(Strict):
    """What can be done to a matte of any kind, in this order: grow, soften, invert.

    Pixels are those of the reference at full size; done once the matte lies in its place.
    """

    grow: Annotated[float, Field(ge=-100, le=100, allow_inf_nan=False)] = 0.0
    """How far its edge is moved outwards, pixels; below 0 inwards. Fractions count."""
    soften: Annotated[float, Field(ge=0, le=100, allow_inf_nan=False)] = 0.0
    """Standard deviation of the Gaussian it is blurred by, pixels."""
    invert: bool = False
    """Turned round at the very end: 1 less the weight."""

    @property
    def pass_names(self) -> tuple[str, ...]:
        """Return the passes the matte is made of."""
        return ()

    @property
    def silhouette_names(self) -> tuple[str, ...]:
        """Return those of its passes that were shot for the matte alone."""
        return ()

    @property
    def matte_names(self) -> tuple[str, ...]:
        """Return the mattes the matte is made of."""
        return ()


class PictureMatte(Matted):
    """A matte in files of its own: the alpha channel if there is one, else luminance."""

    files: Annotated[str, Field(min_length=1, max_length=1024)]
    first: FrameNumber | None = None
    step: Annotated[int, Field(ge=1, le=1000, strict=True)] = 1
    start_offset: Annotated[int, Field(ge=-100_000, le=100_000, strict=True)] = 0
    range: Literal["limited", "full"] | None = None
    """Range of the codes of a clip; asked for where the matte is one."""

    def number(self, frame: int, *, shot_first: int, first: int) -> int:
        """Return the file number of a shot frame, `first` resolved."""
        return source_number(
            frame,
            shot_first=shot_first,
            first=first,
            step=self.step,
            skip=frozenset(),
            start_offset=self.start_offset,
        )


class BackingMatte(Matted):
    """A matte from a silhouette pass: coverage = 1 - S / W, both without dark and ambient."""

    pass_name: Annotated[Name, Field(alias="pass")]
    """The silhouette S: set dark, backing lit."""
    empty: Name | Level | None = None
    """The lit backing W without the set: a pass with ``use: empty_backing``, or its level.
    Without it W is a smooth surface laid through what S shows of the backing."""
    solid: bool = False
    """The set lets no light through: light of the backing on it is spill and taken out, and it is
    partly there only within 2 pixels of the backing. Not for nets, glass and smoke."""

    @property
    def pass_names(self) -> tuple[str, ...]:
        """Return the passes the matte is made of."""
        return (self.pass_name, *([self.empty] if isinstance(self.empty, str) else []))

    @property
    def silhouette_names(self) -> tuple[str, ...]:
        """Return those of its passes that were shot for the matte alone."""
        return self.pass_names


class ShapeMatte(Matted):
    """A matte shape: an outline of straight lines, keyed over frames; 1 inside, 0 outside."""

    shape: ShapeKeys
    feather: Feather = 0.0
    """Width of the soft edge in pixels, half of it inside and half outside; or
    ``{inside, outside}``, each from the outline."""
    follow: Literal["reference"] | None = None
    """reference: the outline goes where the reference shows what lies under it."""


class Fall(Strict):
    """The luminances between which a weight falls from 1 to 0."""

    low: LightLevel
    high: LightLevel


class LuminanceMatte(Matted):
    """A matte of what is bright in a pass: its weight rises from 0 at low to 1 at high."""

    luminance_of: Name
    low: LightLevel
    high: LightLevel
    until: Fall | None = None
    """What is brighter still is left out: the weight falls again, from 1 at its low to 0 at its
    high."""

    @property
    def pass_names(self) -> tuple[str, ...]:
        """Return the passes the matte is made of."""
        return (self.luminance_of,)


class DifferenceMatte(Matted):
    """A matte of where a pass differs from a clean plate by more than noise and light explain."""

    difference: Name
    plate: Name
    """The clean plate: the same light and set without what is sought."""
    low: Sigmas = 4.0
    """Up to so many standard deviations of the noise the weight is 0."""
    high: Sigmas = 8.0
    """From so many on it is 1."""
    tolerance: Annotated[float, Field(ge=0, le=1, allow_inf_nan=False)] = 0.02
    """Share of its own light by which the set may differ between both, as one more deviation:
    a lamp that flickers, an edge that is not quite in place."""

    @property
    def pass_names(self) -> tuple[str, ...]:
        """Return the passes the matte is made of."""
        return (self.difference, self.plate)

    @property
    def silhouette_names(self) -> tuple[str, ...]:
        """Return those of its passes that were shot for the matte alone."""
        return (self.plate,)


Names = Annotated[tuple[Name, ...], Field(min_length=1, max_length=64)]


class AllMattes(Matted):
    """What all of some mattes keep: their product."""

    all_of: Names

    @property
    def matte_names(self) -> tuple[str, ...]:
        """Return the mattes the matte is made of."""
        return self.all_of


class AnyMattes(Matted):
    """What any of some mattes keeps: 1 less the product of what each leaves."""

    any_of: Names

    @property
    def matte_names(self) -> tuple[str, ...]:
        """Return the mattes the matte is made of."""
        return self.any_of


class RestMatte(Matted):
    """One matte less another, a holdout: the first times what the second leaves."""

    this: Name
    without: Name

    @property
    def matte_names(self) -> tuple[str, ...]:
        """Return the mattes the matte is made of."""
        return (self.this, self.without)


_KINDS = {
    "files": "a picture",
    "pass": "a silhouette",
    "pass_name": "a silhouette",
    "shape": "a shape",
    "luminance_of": "a luminance",
    "difference": "a difference",
    "all_of": "all of",
    "any_of": "any of",
    "this": "a rest",
    "without": "a rest",
}
"""The field that tells a kind; its words are no field, so that places in a job stay readable."""


def _kind(value: object) -> str | None:
    fields = value if isinstance(value, Mapping) else getattr(value, "__dict__", {})
    return next((kind for field, kind in _KINDS.items() if field in fields), None)


def _kinds() -> Any:
    return Discriminator(
        _kind,
        custom_error_type="matte_kind",
        custom_error_message="a matte with one of files, pass, shape, luminance_of, difference, "
        "all_of, any_of and this",
    )


Matte = Annotated[
    Annotated[PictureMatte, Tag("a picture")]
    | Annotated[BackingMatte, Tag("a silhouette")]
    | Annotated[ShapeMatte, Tag("a shape")]
    | Annotated[LuminanceMatte, Tag("a luminance")]
    | Annotated[DifferenceMatte, Tag("a difference")]
    | Annotated[AllMattes, Tag("all of")]
    | Annotated[AnyMattes, Tag("any of")]
    | Annotated[RestMatte, Tag("a rest")],
    _kinds(),
]
