"""How much memory a frame needs, known from the job and the sizes of its pictures."""

from glimsum_jobs.measurements import Checked
from glimsum_jobs.shot import ShotJob

BASE_BYTES = 300 * 1024 * 1024
"""A worker process with its libraries and tables, before any picture."""
PLANE_BYTES = 4
"""One number of a picture: 32-bit float."""
AT_WORK = 24
"""Planes at work beside what is held: a pass on its way to the working space, the resample, the
sum, the master's codes. Measured: 7 planes where a pass is taken as it is, 18 with an ambient
to average; the rest is room for what a job may ask for besides."""
LAYING = 6
"""More planes at work while an element or insert is laid. Measured: 23 to 30 in all."""
LAID = 4
"""Planes of an element or insert that are kept: light and coverage."""


def frame_memory_bytes(job: ShotJob, checked: Checked) -> int:
    """Return about how many bytes a worker process needs at most to combine one frame.

    Parameters
    ----------
    job : ShotJob
        Says which passes and mattes a frame is made of.
    checked : Checked
        Says how large they are.

    Returns
    -------
    int
        All passes of a frame are held at once, three planes each, with their averages.
    """
    used = {name for step in job.steps for name in job.passes_in(step)}
    aside = {name for name, each in job.passes.items() if each.use is not None}
    pixels = [each.width * each.height for each in checked.passes.values()]
    planes = 3 * len((used | aside) & set(checked.passes)) + len(job.mattes) + AT_WORK
    laid = len(job.inserts) + len(job.elements)
    planes += LAYING * bool(laid) + LAID * laid
    return BASE_BYTES + max(pixels, default=0) * PLANE_BYTES * planes
