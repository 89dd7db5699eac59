"""How a combined picture is looked at: the correction of the whole picture, then the job's view."""

from glimsum_jobs.shot import ShotJob
from glimsum_workers.engine.codes import Image
from glimsum_workers.engine.primary import Primary, correct_picture
from glimsum_workers.engine.viewing import DisplayCodes, Viewing
from glimsum_workers.frames.previews import shrink


class Look:
    """The way of a shot's pictures into masters and on to a display.

    Parameters
    ----------
    job : ShotJob
        Says the correction, whether masters have it too, display and view.
    """

    def __init__(self, job: ShotJob) -> None:
        told = job.picture
        self._space = job.space
        self._in_masters = told.in_masters
        self._primary = Primary(
            stops=told.stops,
            slope=told.slope,
            offset=told.offset,
            power=told.power,
            saturation=told.saturation,
        )
        self._viewing = Viewing(job.space, job.viewing.display, job.viewing.view)

    def in_master(self, rgb: Image) -> Image:
        """Return the light a master holds: corrected, without clamps, where the job says so."""
        if not self._in_masters:
            return rgb
        return correct_picture(rgb, self._primary, self._space, clamp=False)

    def of_master(self, rgb: Image, width: int) -> DisplayCodes:
        """Return the light of a master as display codes, `width` pixels wide at most."""
        small = shrink(rgb, width)
        if not self._in_masters:
            small = correct_picture(small, self._primary, self._space)
        return self._viewing.apply(small)
