"""What is left of a pass: its tiles against what is taken out of it, frame by frame."""

from collections.abc import Callable

from glimsum_jobs.measurements import Solved
from glimsum_jobs.shot import ShotJob
from glimsum_jobs.tracks import Registered
from glimsum_workers.engine.motion import Points
from glimsum_workers.light.motions import motion_on
from glimsum_workers.measuring.kept_pictures import as_registration
from glimsum_workers.measuring.measured import Measured
from glimsum_workers.steady_test.regions import Gathered, Left, Shift, lay_grid, sum_up
from glimsum_workers.steady_test.tiles import TileKeep

Places = Callable[[Points, tuple[int, int]], Points]
"""Where a pass shows points of the reference, in a picture of (height, width)."""


def leftover_of(
    job: ShotJob,
    name: str,
    measured: Measured,
    solved: Solved,
    *,
    keep: TileKeep,
    size: tuple[int, int],
) -> Left | None:
    """Return what is left of a pass after alignment, by region.

    Parameters
    ----------
    job : ShotJob
        The shot.
    name : str
        The pass. Of the reference nothing is left by definition.
    measured : Measured
        Registrations of all frames.
    solved : Solved
        What is taken out.
    keep : TileKeep
        Has the tiles.
    size : tuple of int
        (height, width) of the pass, pixels.

    Returns
    -------
    Left or None
        None where no trusted frame shares enough with the reference.
    """
    if name == job.reference_pass:
        return None
    grid = lay_grid(size)
    gathered: dict[int, Gathered] = {}
    shifts: dict[int, Shift] = {}
    for frame, told in _told(name, measured).items():
        motion = motion_on(solved, job, name, frame)
        tiles = keep.gathered(told, grid) if told.trusted and motion is not None else None
        if tiles is not None and motion is not None:
            gathered[frame] = tiles
            shifts[frame] = _between(as_registration(told).motion.at, motion.at, size)
    return sum_up(grid, gathered, shifts)


def _between(found: Places, applied: Places, size: tuple[int, int]) -> Shift:
    def shift(places: Points) -> Points:
        return found(places, size) - applied(places, size)

    return shift


def _told(name: str, measured: Measured) -> dict[int, Registered]:
    """Return the registrations that tell of a pass against the reference.

    An alignment frame was shot in the reference light: what it tells, other light can't feign.
    """
    aligned = {e.frame: e.found for e in measured.aligned if e.pass_name == name}
    if any(each.trusted for each in aligned.values()):
        return aligned
    return {e.frame: e.cross for e in measured.tracked if e.pass_name == name and e.cross}
