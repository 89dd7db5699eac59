"""The takes of a pass on one frame, each in its place, made one light."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.errors import SourceError
from glimsum_jobs.measurements import Checked
from glimsum_jobs.plan import lacks_frame
from glimsum_jobs.problems import Place, Problem, Rank
from glimsum_jobs.shot import ShotJob
from glimsum_jobs.takes import FEWEST_FOR_SIGMA
from glimsum_workers.engine.codes import Picture
from glimsum_workers.engine.motion import Affine, Motion
from glimsum_workers.engine.resample.resample import Field, resample
from glimsum_workers.engine.resample.window import covered_window
from glimsum_workers.engine.take_combining import Take, combine_takes
from glimsum_workers.footage.recorded import stops_of

_TOUCHED = 0.99
"""Share of what a resampled pixel is made of that must be unclipped."""


@dataclass(frozen=True)
class PlacedTake:
    """One take where the reference lies.

    Attributes
    ----------
    picture : Picture
        Scene-linear, working space.
    spoilt : bool array, (height, width)
        Pixels that were clipped in the file, or lie beyond its edge.
    replaced, mended : int
        Samples that were not finite; hot samples.
    """

    picture: Picture
    spoilt: NDArray[np.bool_]
    replaced: int
    mended: int


@dataclass(frozen=True)
class JoinedTakes:
    """The light of all takes of a frame.

    Attributes
    ----------
    picture : Picture
        Scene-linear, working space, where the reference lies.
    clipped : bool array, (height, width)
        Pixels that no take tells of.
    replaced, mended : int
        Over all takes.
    remarks : tuple of Problem
        Takes that were left out because they could not be read.
    """

    picture: Picture
    clipped: NDArray[np.bool_]
    replaced: int
    mended: int
    remarks: tuple[Problem, ...]


def takes_on(job: ShotJob, checked: Checked, name: str, frame: int) -> tuple[str, ...]:
    """Return the takes of `name` that have a whole file for a frame; all where none has."""
    of = job.takes[name].of
    there = tuple(take for take in of if not lacks_frame(checked, take, frame))
    return there or of


def join_takes(
    job: ShotJob, checked: Checked, name: str, frame: int, placed: Callable[[str], PlacedTake]
) -> JoinedTakes:
    """Combine the takes of a pass on a frame.

    Parameters
    ----------
    job : ShotJob
        Says how they are combined.
    checked : Checked
        Says which takes lack the frame.
    name : str
        Of the takes.
    frame : int
        Shot frame.
    placed : callable
        Makes a take in its place.

    Raises
    ------
    SourceError
        Not one take can be read.
    """
    told = job.takes[name]
    made: dict[str, PlacedTake] = {}
    remarks: list[Problem] = []
    error: SourceError | None = None
    for take in takes_on(job, checked, name, frame):
        try:
            made[take] = placed(take)
        except SourceError as caught:
            error = caught
            remarks.append(_left_out(job, name, take, frame, caught))
    if error is not None and not made:
        raise error
    takes = [
        Take(each.picture, each.spoilt, 2.0 ** stops_of(job, take)) for take, each in made.items()
    ]
    sigma = told.sigma if len(takes) >= FEWEST_FOR_SIGMA else None
    joined = combine_takes(takes, told.combine, sigma=sigma)
    spoilt = np.logical_and.reduce([each.spoilt for each in made.values()])
    return JoinedTakes(
        joined.picture,
        spoilt,
        sum(each.replaced for each in made.values()),
        sum(each.mended for each in made.values()),
        tuple(remarks),
    )


def place_take(
    picture: Picture, clipped: NDArray[np.bool_], motion: Motion | Affine | Field | None
) -> tuple[Picture, NDArray[np.bool_]]:
    """Return a take and its spoilt pixels where the reference lies: one resample of the light."""
    if motion is None:
        return picture, clipped
    size = picture.rgb.shape[:2]
    sound = (~clipped).astype(np.float32)
    if picture.alpha is None:
        moved = resample(Picture(picture.rgb, sound), motion).picture
        placed, weight = Picture(moved.rgb), moved.alpha
    else:
        placed = resample(picture, motion).picture
        weight = resample(Picture(np.zeros_like(picture.rgb), sound), motion).picture.alpha
    spoilt = np.ones(size, dtype=np.bool_)
    inside = covered_window(motion, size).slices()
    spoilt[inside] = False if weight is None else weight[inside] < _TOUCHED
    return placed, spoilt


def _left_out(job: ShotJob, name: str, take: str, frame: int, error: SourceError) -> Problem:
    here = Place(shot=job.shot, pass_name=take, frame=frame)
    return Problem(
        rank=Rank.REMARK,
        what=f"take {take} is left out of {name} on this frame: it can't be read",
        place=error.place.filled(**here.model_dump(exclude_none=True)),
        seen=str(error),
        expected="a whole file",
        remedy="Copy it from the card again; the other takes make the light.",
    )
