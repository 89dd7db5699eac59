"""One item of the stage *measure*: which flow it is."""

from collections.abc import Container

from glimsum_jobs.plan import ALIGN, AVERAGE, FOLLOW, SAMPLE, TRACK, measure_items
from glimsum_jobs.shot import ShotJob
from glimsum_workers.footage.material import Material
from glimsum_workers.frames.kept import Keep
from glimsum_workers.measure_shot import average_pass, sample_level
from glimsum_workers.measuring.follow_shot import follow_marked
from glimsum_workers.measuring.measured import Measured, Result
from glimsum_workers.measuring.track_shot import Tracker

PLACES = (TRACK, ALIGN, FOLLOW)
"""Kinds of items that tell where passes lie, and what is followed on the reference."""

BY_FRAME = (TRACK, SAMPLE)
"""Kinds of items that read one picture of a pass each."""

KINDS = (AVERAGE, SAMPLE, *PLACES)


def measure_item(job: ShotJob, item: str, material: Material, keep: Keep) -> Result:
    """Do one item of `plan.measure_items` and return what it leaves behind.

    Raises
    ------
    SourceError
        A file can't be read.
    """
    what, name, *frame = item.split(":")
    if what == FOLLOW:
        return follow_marked(job, item.partition(":")[2], material, keep)
    if what == AVERAGE:
        return average_pass(job, name, material, keep)
    if what in BY_FRAME and int(frame[0]) < job.frames.last:  # a slot goes on where it is
        material.ask_ahead(name, int(frame[0]) + 1)
    if what == TRACK:
        return Tracker(job, material, keep).track(name, int(frame[0]))
    if what == ALIGN:
        return Tracker(job, material, keep).align(name)
    return sample_level(job, name, int(frame[0]), material, keep)


def measure_all(
    job: ShotJob, material: Material, keep: Keep, kinds: Container[str] = KINDS
) -> Measured:
    """Do all items of some kinds one after the other."""
    measured = Measured()
    for item in measure_items(job, material.checked):
        if item.partition(":")[0] in kinds:
            measured.add(measure_item(job, item, material, keep))
    return measured
