"""One frame: every step of the recipe laid on the ground, in linear light."""

from collections.abc import Callable
from copy import copy
from dataclasses import dataclass

from glimsum_jobs.errors import GlimsumError, LightError
from glimsum_jobs.measurements import Checked, Solved
from glimsum_jobs.problems import Place, Problem
from glimsum_jobs.recipe import Step
from glimsum_jobs.shot import ShotJob
from glimsum_workers.engine.codes import Picture, Plane
from glimsum_workers.engine.combine import combine_step, lay_ground, layer_of
from glimsum_workers.engine.metrics import read_figures
from glimsum_workers.engine.resample.window import Window
from glimsum_workers.engine.tint import tint_matrix
from glimsum_workers.footage.averages import Averages
from glimsum_workers.footage.material import Material
from glimsum_workers.frames.kept import Keep
from glimsum_workers.frames.kept_light import LightStore
from glimsum_workers.frames.roots import Roots
from glimsum_workers.light.fingerprint import LightFingerprints
from glimsum_workers.light.kept_passes import KeptLight
from glimsum_workers.light.passes import PassLight, ShotLight
from glimsum_workers.light.unmoved import UnmovedLight
from glimsum_workers.measuring.prepared_pictures import PreparedPictures
from glimsum_workers.steps.elements import ShotElements
from glimsum_workers.steps.inserts import ShotInserts
from glimsum_workers.steps.mattes import ShotMattes
from glimsum_workers.steps.on_frame import OnFrame, shown_in


@dataclass(frozen=True)
class CombinedPicture:
    """A combined frame before it is written.

    Attributes
    ----------
    picture : Picture
        Scene-linear, working space, premultiplied; alpha 0..1.
    figures : dict of str to float
        Shares and counts for the report.
    window : Window
        What all passes of the frame cover: the whole picture unless the job crops its edges;
        beyond it the picture is 0.
    remarks : tuple of Problem
        Takes that had to be left out.
    """

    picture: Picture
    figures: dict[str, float]
    window: Window
    remarks: tuple[Problem, ...] = ()


class ShotBench:
    """A solved shot laid out for combining: its sources, averages, light and mattes.

    Parameters
    ----------
    job : ShotJob
        Every path in it is ``root:path``.
    checked : Checked
        Result of the check.
    solved : Solved
        Result of measuring.
    roots : Roots
        Where this machine has the roots.
    keep : Keep
        Where measured arrays are kept.
    store : LightStore, optional
        Where the light of passes in their place is kept.
    """

    def __init__(  # noqa: PLR0917  # a solved shot, and where things are
        self,
        job: ShotJob,
        checked: Checked,
        solved: Solved,
        roots: Roots,
        keep: Keep,
        store: LightStore | None = None,
    ) -> None:
        self.job = job
        self.checked = checked
        self.solved = solved
        self.material = Material(job, checked, roots)
        self.averages = Averages(job, solved.averages, self.material, keep)
        self.pictures = PreparedPictures(job, self.material, keep)
        self.digests = LightFingerprints(job, self.material, self.averages, self.pictures)
        sources = job, self.material, self.averages, self.pictures
        self.light = (
            ShotLight(*sources) if store is None else KeptLight(*sources, self.digests, store)
        )
        self.mattes = ShotMattes(job, self.material, self.light, self.averages)
        self.elements = ShotElements(job, checked, roots)
        self.inserts = ShotInserts(job, checked, roots, self.light)

    def close(self) -> None:
        """Close the sources."""
        self.material.close()
        self.elements.close()
        self.inserts.close()

    def with_gains_of(self, job: ShotJob) -> "ShotBench":
        """Return a bench for a job that differs in gains and tints alone and is measured alike.

        It shares all sources with this one, and is closed with it.
        """
        other = copy(self)
        other.job = job
        other.inserts = self.inserts.with_gains_of(job)
        return other

    def combine(self, frame: int, step_begun: Callable[[], object]) -> CombinedPicture:
        """Combine one frame.

        Parameters
        ----------
        frame : int
            Shot frame.
        step_begun : callable
            Asked before each step; what it raises (LeaseLost) ends the work.

        Returns
        -------
        CombinedPicture
            The sum, with its figures.

        Raises
        ------
        SourceError
            A file of this frame can't be read.
        LightError
            The numbers make no light; names the pass and frame.
        """
        ground, made = self.ground(), OnFrame(frame)
        for index, step in enumerate(self.job.steps):
            step_begun()
            self._lay_named(ground, step, made)
            made.keep_only(shown_in(self.job.steps[index + 1 :], frame))
        made.add_waiting(ground)
        window = self.window(frame)
        _empty_outside(ground, window)
        return CombinedPicture(ground, _figures(ground, made), window, tuple(made.remarks))

    @property
    def size(self) -> tuple[int, int]:
        """Return (height, width) of the reference, and of everything that is made."""
        whole = self.checked.passes[self.job.reference_pass]
        return whole.height, whole.width

    def ground(self) -> Picture:
        """Return the empty ground, as large as the reference."""
        return lay_ground(*self.size)

    def lay(self, ground: Picture, step: Step, made: OnFrame) -> None:
        """Lay one step on the ground, in place; errors name shot, pass and frame."""
        self._lay_named(ground, step, made)
        made.add_waiting(ground)

    def _lay_named(self, ground: Picture, step: Step, made: OnFrame) -> None:
        try:
            self._lay(ground, step, made)
        except GlimsumError as error:
            here = Place(shot=self.job.shot, pass_name=step.pass_name, frame=made.frame)
            error.place = error.place.filled(**here.model_dump(exclude_none=True))
            raise

    def window(self, frame: int) -> Window:
        """Return what every pass used on a frame covers; LightError where that is nothing."""
        size, window = self.size, Window.whole(self.size)
        if self.job.edges == "repeat":
            return window
        for name in sorted(self._used(frame)):
            window = window.within(self.light.window(name, frame, self.solved, size))
        if window.is_empty:
            raise LightError(
                "the passes of this frame have no part in common",
                place=Place(shot=self.job.shot, frame=frame, field="edges"),
                seen="edges: crop, and passes that lie side by side",
                expected="passes that show the same set",
                remedy="Look at the drift of this frame with `glimsum measure`.",
            )
        return window

    def _used(self, frame: int) -> set[str]:
        """Return the passes whose pictures a frame is made of."""
        names: set[str] = set()
        for step in self.job.steps:
            if not self.is_out(step, frame):
                names |= {*self.job.passes_in(step), *self.job.passes_behind(step)}
        return names

    def is_out(self, step: Step, frame: int) -> bool:
        """Return whether a step adds nothing but full coverage on a frame, so needs no file."""
        return (
            step.pass_name is not None
            and step.gain(frame) == 0
            and step.operator == "plus"
            and step.matte is None
            and not any(self.checked.passes[name].alpha for name in self.job.passes_in(step))
        )

    def _lay(self, ground: Picture, step: Step, made: OnFrame) -> None:
        """Lay a step on the ground, or let it wait to be added with the next ones."""
        if self.is_out(step, made.frame):
            if ground.alpha is not None:
                ground.alpha[...] = 1
            return
        matrix = step.gain(made.frame) * tint_matrix(
            step.tint_mired, lamp_kelvin=step.lamp_kelvin, space=self.job.space
        )
        matte = None if step.matte is None else self.matte(step.matte, made)
        unmoved = self._in_one_walk(step, made)
        source = self.source(step, made) if unmoved is None else None
        if unmoved is not None:
            layer = unmoved.layer(matrix, matte)
        elif source is not None:
            layer = layer_of(ground, source, step.operator, matrix=matrix, matte=matte)
        else:
            return
        if layer is not None:
            made.let_wait(layer, ground)
            return
        made.add_waiting(ground)
        if unmoved is not None:
            unmoved.lay(ground, matrix, matte)
        elif source is not None:
            combine_step(ground, source, step.operator, matrix=matrix, matte=matte)

    def _in_one_walk(self, step: Step, made: OnFrame) -> UnmovedLight | None:
        """Return the light of a step that is laid as it is brought to its place, if it can be."""
        key = step.pass_name or "", step.shown(made.frame)
        if step.operator != "plus" or len(step.names) != 1 or key in made.lights:
            return None
        if key not in made.unmoved:
            found = self.light.in_one_walk(*key, self.solved)
            if found is None:
                return None
            made.take_unmoved(key, found)
        return made.unmoved[key]

    def matte(self, name: str, made: OnFrame) -> Plane:
        """Return the weights of a matte, 0..1, in its place."""
        if name not in made.mattes:
            made.mattes[name] = self.mattes.on_frame(name, made.frame, self.solved)
        return made.mattes[name]

    def source(self, step: Step, made: OnFrame) -> Picture | None:
        """Return what a step lays on: an element, or light of a pass less that of another.

        None: there is nothing of it on this frame.
        """
        if step.pass_name is None:
            name = self.job.holdout_of(step)
            holdout = None if name is None else self.matte(name, made)
            here = made.frame, self.solved, self.size, holdout
            if step.insert is not None:
                return self.inserts.on_frame(step.insert, *here)
            return self.elements.on_frame(step.element or "", *here)
        shown = step.shown(made.frame)
        light, *less = (self._light_of(name, shown, made).picture for name in step.names)
        return Picture(light.rgb - less[0].rgb, light.alpha) if less else light

    def _light_of(self, name: str, shown: int, made: OnFrame) -> PassLight:
        if (name, shown) not in made.lights:
            made.take_light((name, shown), self.light.in_working_space(name, shown, self.solved))
        return made.lights[name, shown]


def _empty_outside(ground: Picture, window: Window) -> None:
    """Leave nothing outside a window: neither light nor coverage."""
    for plane in (ground.rgb, ground.alpha):
        if plane is not None:
            plane[: window.top] = plane[window.bottom :] = 0
            plane[:, : window.left] = plane[:, window.right :] = 0


def _figures(ground: Picture, made: OnFrame) -> dict[str, float]:
    told = read_figures(ground.rgb, replaced=made.replaced)
    return {
        "negative_share": told.negative_share,
        "replaced": float(told.replaced),
        "mended": float(made.mended),
        "mean_green": told.mean[1],
        "median_green": told.median[1],
        **made.figures,
    }
