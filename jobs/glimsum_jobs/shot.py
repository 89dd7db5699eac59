"""The shot job: everything a person submits for one shot."""

from fractions import Fraction
from typing import Annotated, Literal

from pydantic import AfterValidator, BeforeValidator, Field, WithJsonSchema

from glimsum_jobs.elements import Element
from glimsum_jobs.frame_ranges import FrameRange, Handles
from glimsum_jobs.inserts import Insert
from glimsum_jobs.mattes import Matte
from glimsum_jobs.outputs import Master, Viewing
from glimsum_jobs.passes import Name, Pass, Strict
from glimsum_jobs.picture import WholePicture
from glimsum_jobs.recipe import Step
from glimsum_jobs.takes import Takes


def _rate_text(value: object) -> object:
    return str(value) if isinstance(value, int) and not isinstance(value, bool) else value


def _rate(value: str) -> str:
    top, _, bottom = value.partition("/")
    if bottom not in ("", "1001") or not 1 <= int(top) / int(bottom or 1) <= 1000:
        raise ValueError('a whole number of frames a second, or "24000/1001" and its like')
    return value


Rate = Annotated[
    str,
    Field(pattern=r"^[1-9][0-9]{0,6}(/1001)?$"),
    BeforeValidator(_rate_text),
    AfterValidator(_rate),
    WithJsonSchema(
        {
            "anyOf": [
                {"type": "integer", "minimum": 1, "maximum": 1000},
                {"type": "string", "pattern": "^[1-9][0-9]{0,6}(/1001)?$"},
            ]
        }
    ),
]
"""Frames a second, as a whole number or a fraction over 1001."""

NOT_FOR_LOOKING = frozenset({"reference", "matte", "silhouette"})
"""Names of passes that are no light of the finished shot unless a recipe says so."""

ShotName = Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9_-]{0,63}$")]


class ShotJob(Strict):
    """One shot: its passes and the recipe that combines them."""

    glimsum: Literal[1]
    """Version of this format."""
    shot: ShotName
    rate: Rate
    camera: Literal["moving", "locked"]
    frames: FrameRange
    """The frames that are made, handles included."""
    handles: Handles = Handles()
    reference: Name | None = None
    """Pass all others lie on; default: beauty, else the first lamp pass."""
    unit: Name | None = None
    """Pass whose exposure is 0 stops; default: the first pass of the recipe."""
    space: str = "lin_ap1_scene"
    """Working space, interop ID."""
    passes: Annotated[dict[Name, Pass], Field(min_length=1, max_length=64)]
    takes: Annotated[dict[Name, Takes], Field(max_length=64, default_factory=dict)]
    """Lights made of several takes of a pass; named in steps as passes are."""
    mattes: Annotated[dict[Name, Matte], Field(max_length=64, default_factory=dict)]
    inserts: Annotated[dict[Name, Insert], Field(max_length=64, default_factory=dict)]
    elements: Annotated[dict[Name, Element], Field(max_length=64, default_factory=dict)]
    recipe: Annotated[tuple[Step, ...], Field(min_length=1, max_length=256)] | None = None
    """In order; omitted: every lamp pass at 0 stops."""
    edges: Literal["repeat", "crop"] = "repeat"
    """What a master shows where a pass that is brought back has no picture: its repeated edge, or
    nothing: the data window is then what all passes of the frame cover."""
    picture: WholePicture = WholePicture()
    masters: Annotated[tuple[Master, ...], Field(min_length=1, max_length=1)] = (Master(),)
    viewing: Viewing = Viewing()
    keep: Literal["auto", "aligned", "none"] = "auto"
    """Whether the light of every pass in its place stays on disk under ``OUTPUT/kept``, so that
    other gains cost a read: as much as GLIMSUM_KEEP_MIB holds; auto: from the second version on,
    if all of it fits. Never changes a pixel."""
    output: Annotated[str, Field(min_length=1, max_length=1024)]
    """Folder of the shot's versions, relative or root:path."""

    @property
    def lamp_passes(self) -> tuple[str, ...]:
        """Return the names of the passes that are neither a dark, an ambient nor a backing."""
        return tuple(name for name, each in self.passes.items() if each.use is None)

    @property
    def steps(self) -> tuple[Step, ...]:
        """Return the recipe, or every lamp pass at 0 stops.

        Passes named ``reference``, ``matte`` or ``silhouette`` and the silhouettes of mattes are
        lit for finding things, not for looking at: they are left out unless a recipe names them.
        Takes of a pass are added as the one light they make.
        """
        if self.recipe is not None:
            return self.recipe
        left_out = {*NOT_FOR_LOOKING, *self.silhouettes}
        made_of = {take: name for name, takes in self.takes.items() for take in takes.of}
        lit = [made_of.get(name, name) for name in self.lamp_passes if name not in left_out]
        return tuple(Step(pass_name=name) for name in dict.fromkeys(lit))

    @property
    def silhouettes(self) -> frozenset[str]:
        """Return the passes that were lit for mattes alone, backings included."""
        return frozenset(n for matte in self.mattes.values() for n in matte.silhouette_names)

    def sources_of(self, name: str) -> tuple[str, ...]:
        """Return the passes a name in a step stands for: itself, or the takes it is made of."""
        return self.takes[name].of if name in self.takes else (name,)

    def passes_in(self, step: Step) -> tuple[str, ...]:
        """Return the passes whose light a step lays on or takes away."""
        return tuple(source for name in step.names for source in self.sources_of(name))

    def holdout_of(self, step: Step) -> str | None:
        """Return the matte that keeps out what a step lays on."""
        if step.insert is not None:
            return self.inserts[step.insert].holdout
        return None if step.element is None else self.elements[step.element].holdout

    def mattes_in(self, step: Step) -> tuple[str, ...]:
        """Return the mattes of a step, and those they are made of, in order of need."""
        found: list[str] = []
        waiting = [name for name in (step.matte, self.holdout_of(step)) if name is not None]
        while waiting:
            name = waiting.pop()
            if name not in found:
                found.insert(0, name)
                waiting += self.mattes[name].matte_names
        return tuple(found)

    def passes_behind(self, step: Step) -> tuple[str, ...]:
        """Return the passes the mattes of a step are made of."""
        return tuple(n for name in self.mattes_in(step) for n in self.mattes[name].pass_names)

    @property
    def unit_pass(self) -> str:
        """Return the pass whose exposure is 0 stops."""
        if self.unit is not None:
            return self.unit
        lit = [name for step in self.steps for name in self.passes_in(step)]
        return lit[0] if lit else next(iter(self.passes))

    @property
    def reference_pass(self) -> str:
        """Return the pass all others lie on: the stated one, beauty, or the first lamp pass."""
        if self.reference is not None:
            return self.reference
        lamps = self.lamp_passes or tuple(self.passes)
        return "beauty" if "beauty" in lamps else lamps[0]

    def looks_at(self, name: str, frame: int) -> bool:
        """Return whether anything of a pass is used on a frame.

        The reference is used on every frame; a lamp that is out in every step has no place to
        find, and what a dark frame shows would be found in its stead.
        """
        if name == self.reference_pass or name in self.silhouettes:
            return True
        return any(
            ((step.gain(frame) != 0 or frame in step.borrowed) and name in self.passes_in(step))
            or name in self.passes_behind(step)
            for step in self.steps
        )

    def alignment_number(self, name: str) -> int | None:
        """Return the shot frame the alignment frame of a pass belongs to; None without one.

        Default: the first frame; of a locked camera, which stands, the first that is looked at.
        """
        told = self.passes[name].alignment
        if told is None:
            return None
        if told.frame is not None:
            return told.frame
        looked = (frame for frame in self.frames.numbers if self.looks_at(name, frame))
        return next(looked, self.frames.first) if self.camera == "locked" else self.frames.first

    @property
    def rate_fraction(self) -> Fraction:
        """Return the frames a second."""
        return Fraction(self.rate)
