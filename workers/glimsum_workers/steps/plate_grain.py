"""The grain of the passes an insert is laid over, read once a shot."""

from copy import copy

from glimsum_jobs.measurements import Checked, Solved
from glimsum_jobs.plan import dead_frames
from glimsum_jobs.recipe import Step
from glimsum_jobs.shot import ShotJob
from glimsum_workers.engine.inserts.grain import Grain, plate_grain, read_grain
from glimsum_workers.light.passes import ShotLight


class PlateGrain:
    """Tells the grain that light has in the plate under an insert.

    Parameters
    ----------
    job : ShotJob
        The shot.
    checked : Checked
        Says which frames are dead.
    light : ShotLight
        Gives the passes.

    Notes
    -----
    The grain of a pass is read on one frame, the one in the middle of the shot on which it is
    lit: exposure and camera are the same on all.
    """

    def __init__(self, job: ShotJob, checked: Checked, light: ShotLight) -> None:
        self._job = job
        self._light = light
        dead = dead_frames(checked)
        frames = [frame for frame in job.frames.numbers if frame not in dead]
        middle = frames[len(frames) // 2] if frames else job.frames.first
        self._frames = sorted(frames, key=lambda frame: (abs(frame - middle), frame))
        self._lacking = {name: each.lacking for name, each in checked.passes.items()}
        self._read: dict[tuple[str, int], Grain] = {}

    def with_gains_of(self, job: ShotJob) -> "PlateGrain":
        """Return the same for a job that differs in gains alone; no grain is read twice."""
        other = copy(self)
        other._job = job  # noqa: SLF001  # a copy of this very object
        return other

    def under(self, insert: str, frame: int, solved: Solved) -> Grain:
        """Return the grain for light laid on with an insert on a frame.

        It is that of the unit pass, and on it the noise that every pass laid before leaves in
        the dark, times its gain on the frame.
        """
        others = [
            (self._of(name, solved), gain)
            for name, gain in self._laid_before(insert, frame)
            if name != self._job.unit_pass
        ]
        return plate_grain(self._of(self._job.unit_pass, solved), others)

    def fingerprint(self, insert: str, frame: int, solved: Solved) -> list[object]:
        """Return what the grain on a frame depends on."""
        grain = self.under(insert, frame, solved)
        return [[noise.gain, noise.read] for noise in grain.channels]

    def _laid_before(self, insert: str, frame: int) -> list[tuple[str, float]]:
        """Return the passes of the steps before an insert, and their gains where not out."""
        laid: dict[str, float] = {}
        for step in self._job.steps:
            if step.insert == insert:
                break
            for name in self._job.passes_in(step):
                if step.gain(frame):
                    laid[name] = max(laid.get(name, 0.0), step.gain(frame))
        return list(laid.items())

    def _of(self, name: str, solved: Solved) -> Grain:
        shown = self._shown(name)
        if (name, shown) not in self._read:
            self._read[name, shown] = read_grain(
                self._light.in_working_space(name, shown, solved).picture.rgb
            )
        return self._read[name, shown]

    def _shown(self, name: str) -> int:
        """Return the frame a pass is read on."""
        steps: list[Step] = [s for s in self._job.steps if name in self._job.passes_in(s)]
        for frame in self._frames:
            for step in steps:
                if step.gain(frame) and step.shown(frame) not in self._lacking.get(name, ()):
                    return step.shown(frame)
        return self._frames[0] if self._frames else self._job.frames.first
