"""The mattes of a shot on a frame, whatever they are made of."""

import numpy as np

from glimsum_jobs.errors import GlimsumError, LightError
from glimsum_jobs.matte_shapes import ShapeKey, outline_at, soft_edge
from glimsum_jobs.mattes import (
    AllMattes,
    AnyMattes,
    BackingMatte,
    DifferenceMatte,
    LuminanceMatte,
    Matte,
    PictureMatte,
    RestMatte,
    ShapeMatte,
)
from glimsum_jobs.measurements import Solved
from glimsum_jobs.passes import Level
from glimsum_jobs.problems import Place
from glimsum_jobs.shot import ShotJob
from glimsum_workers.engine.codes import Image, Plane
from glimsum_workers.engine.encodings import decode
from glimsum_workers.engine.laying import is_worth_it
from glimsum_workers.engine.mattes.backing import matte_from_backing
from glimsum_workers.engine.mattes.backing_surface import find_backing
from glimsum_workers.engine.mattes.difference import matte_from_difference
from glimsum_workers.engine.mattes.followed import anchored, carry
from glimsum_workers.engine.mattes.grow import grow
from glimsum_workers.engine.mattes.joined import all_of, any_of, less, turned
from glimsum_workers.engine.mattes.luminance import matte_from_luminance
from glimsum_workers.engine.mattes.outline import Corners, feather_outline
from glimsum_workers.engine.mattes.picture import matte_from_picture, weights_from_halves
from glimsum_workers.engine.mattes.soften import soften
from glimsum_workers.engine.spaces import luminance_weights
from glimsum_workers.footage.averages import Averages
from glimsum_workers.footage.material import Material
from glimsum_workers.footage.recorded import exposed, without_dark
from glimsum_workers.light.passes import ShotLight


class ShotMattes:
    """Makes the mattes of a shot.

    Parameters
    ----------
    job : ShotJob
        Says what a matte is made of.
    material : Material
        Reads picture mattes.
    light : ShotLight
        Gives passes as light, in their place.
    averages : Averages
        Gives the averaged backing.
    """

    def __init__(
        self, job: ShotJob, material: Material, light: ShotLight, averages: Averages
    ) -> None:
        self._job = job
        self._material = material
        self._light = light
        self._averages = averages

    def on_frame(self, name: str, frame: int, solved: Solved) -> Plane:
        """Return the weights of a matte.

        Parameters
        ----------
        name : str
            A matte of the job; what it is made of is made too, each once.
        frame : int
            Shot frame.
        solved : Solved
            Where passes lie and what shapes follow.

        Returns
        -------
        Plane
            float32 (height, width), 0..1: grown, softened and inverted as the job says, in
            pixels of the reference.

        Raises
        ------
        GlimsumError
            It can't be made on this frame; names the matte.
        """
        return self._made(name, frame, solved, {})

    def outline(self, name: str, frame: int, solved: Solved) -> Corners:
        """Return the corners of a matte shape on a frame, as it is laid on the reference."""
        matte = self._job.mattes[name]
        if not isinstance(matte, ShapeMatte):
            raise LightError(
                f"matte {name} has no outline",
                place=Place(shot=self._job.shot, frame=frame, field=f"mattes.{name}"),
                seen="a matte of another kind",
                expected="a matte with shape",
            )
        if matte.follow is None:
            return _corners(outline_at(matte.shape, frame))
        return self._followed(name, matte, frame, solved)

    def _made(self, name: str, frame: int, solved: Solved, made: dict[str, Plane]) -> Plane:
        if name not in made:
            matte = self._job.mattes[name]
            for each in matte.matte_names:
                self._made(each, frame, solved, made)
            try:
                weight = self._weight(name, matte, frame, solved, made)
            except GlimsumError as error:
                here = Place(shot=self._job.shot, frame=frame, field=f"mattes.{name}")
                error.place = error.place.filled(**here.model_dump(exclude_none=True))
                raise
            weight = soften(grow(weight, matte.grow), matte.soften)
            made[name] = turned(weight) if matte.invert else weight
        return made[name]

    def _weight(
        self, name: str, matte: Matte, frame: int, solved: Solved, made: dict[str, Plane]
    ) -> Plane:
        """Return a matte before it is grown, softened and inverted."""
        match matte:
            case PictureMatte():
                weight = self._from_picture(name, matte, frame)
            case BackingMatte():
                weight = self._from_backing(matte, frame, solved)
            case ShapeMatte():
                edge, corners = soft_edge(matte.feather), self.outline(name, frame, solved)
                weight = feather_outline(corners, self._size(), edge.inside, edge.outside)
            case LuminanceMatte():
                weight = self._from_luminance(matte, frame, solved)
            case DifferenceMatte():
                weight = matte_from_difference(
                    self._rgb(matte.difference, frame, solved),
                    self._rgb(matte.plate, frame, solved),
                    low=matte.low,
                    high=matte.high,
                    tolerance=matte.tolerance,
                )
            case AllMattes():
                weight = all_of([made[each] for each in matte.all_of])
            case AnyMattes():
                weight = any_of([made[each] for each in matte.any_of])
            case RestMatte():
                weight = less(made[matte.this], made[matte.without])
        return weight

    def _from_luminance(self, matte: LuminanceMatte, frame: int, solved: Solved) -> Plane:
        until = None if matte.until is None else (matte.until.low, matte.until.high)
        rgb = self._rgb(matte.luminance_of, frame, solved)
        weights = luminance_weights(self._job.space)
        return matte_from_luminance(rgb, weights, matte.low, matte.high, until)

    def _from_picture(self, name: str, matte: PictureMatte, frame: int) -> Plane:
        halves = self._material.matte_halves(name, frame) if is_worth_it(self._size()) else None
        if halves is not None:
            return weights_from_halves(halves)
        codes = self._material.matte_codes(name, frame)
        picture = decode(codes, "data", video_range=matte.range).picture
        return matte_from_picture(
            picture, "alpha" if picture.alpha is not None else "luminance"
        ).weight

    def _from_backing(self, matte: BackingMatte, frame: int, solved: Solved) -> Plane:
        silhouette = self._rgb(matte.pass_name, frame, solved)
        if matte.empty is None:
            backing: Image | Plane = find_backing(silhouette).light
        else:
            backing = self._backing(matte.pass_name, matte.empty, frame)
        return matte_from_backing(silhouette, backing, solid=matte.solid).weight

    def _backing(self, silhouette: str, empty: str | Level, frame: int) -> Image:
        """Return the lit backing alone, in the working space, without dark and ambient."""
        if isinstance(empty, str):
            return self._light.to_working_space(empty, self._averages.average(empty), frame)
        each = self._job.passes[silhouette]
        flat = np.empty_like(self._light.equalised(silhouette, frame).picture.rgb)
        flat[...] = np.asarray(empty.level, dtype=np.float32)
        rgb, _ = without_dark(each, flat, self._averages.dark(each), None)
        return self._light.to_working_space(silhouette, exposed(self._job, silhouette, rgb), frame)

    def _rgb(self, name: str, frame: int, solved: Solved) -> Image:
        return self._light.in_working_space(name, frame, solved).picture.rgb

    def _size(self) -> tuple[int, int]:
        found = self._material.checked.passes[self._job.reference_pass]
        return found.height, found.width

    def _followed(self, name: str, matte: ShapeMatte, frame: int, solved: Solved) -> Corners:
        """Return an outline keyed on any frames as another frame shows it.

        Its keys are carried to the anchor frame, where they move only by what was drawn, and
        from there to the frame.
        """
        follow = solved.follows.get(f"matte:{name}")
        found = {} if follow is None else follow.frames
        if frame not in found:
            raise LightError(
                f"what matte {name} follows was not found on this frame",
                seen=f"{len(found)} frames followed, this one not among them",
                expected="a place on every frame",
                remedy="Key the shape by hand without follow, or leave this frame out.",
            )
        drawn = {key.frame: _corners(key.points) for key in matte.shape}
        placed = anchored(drawn, {number: each.matrix for number, each in found.items()})
        keys = tuple(
            ShapeKey.model_construct(frame=number, points=tuple(map(tuple, corners.tolist())))
            for number, corners in placed.items()
        )
        return carry(_corners(outline_at(keys, frame)), found[frame].matrix)


def _corners(points: tuple[tuple[float, float], ...]) -> Corners:
    return np.asarray(points, dtype=np.float64)
