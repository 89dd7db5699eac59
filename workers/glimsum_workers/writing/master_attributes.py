"""What a master says of itself, in the standard attributes of OpenEXR."""

import json
import re

from glimsum_jobs.colour import find_working_space
from glimsum_jobs.errors import GlimsumError
from glimsum_jobs.measurements import Solved
from glimsum_jobs.shot import ShotJob
from glimsum_workers.footage.material import Material
from glimsum_workers.frames.facts import Facts
from glimsum_workers.frames.masters import MasterAttributes
from glimsum_workers.frames.timecodes import Timecode
from glimsum_workers.light.motions import applied_motions

FINGERPRINT = "glimsum:recipeFingerprint"
ALIGNMENT = "glimsum:alignment"
"""The motion taken out of each pass, as JSON: dx, dy in pixels, rotation, scale, sigma."""
START_OFFSETS = "glimsum:startOffsets"
"""Files by which each pass that is in the frame started early, as JSON: stated or found."""

_TIMECODE = re.compile(r"(\d\d):(\d\d):(\d\d)([:;])(\d\d)")


def attributes_of(
    job: ShotJob, frame: int, material: Material, fingerprint: str, solved: Solved
) -> MasterAttributes:
    """Return the attributes of a master.

    Parameters
    ----------
    job : ShotJob
        For space, rate and start offsets; settled.
    frame : int
        Shot frame.
    material : Material
        Tells when and how the reference was shot on that frame.
    fingerprint : str
        Of the frame's recipe.
    solved : Solved
        The motions that were taken out.

    Returns
    -------
    MasterAttributes
        The same for the same files and job, whenever and wherever it is asked.
    """
    red, green, blue, white = find_working_space(job.space).primaries or ((0.0, 0.0),) * 4
    facts = _reference_facts(job, frame, material)
    return MasterAttributes(
        chromaticities=(*red, *green, *blue, *white),
        color_interop_id=job.space,
        rate=job.rate_fraction,
        frame=frame,
        timecode=None if facts is None else _timecode(job, frame, facts),
        captured=None if facts is None else facts.captured,
        exposure_seconds=None if facts is None else facts.exposure.seconds,
        f_number=None if facts is None else facts.exposure.f_number,
        iso=None if facts is None else facts.exposure.iso,
        own={
            FINGERPRINT: fingerprint,
            START_OFFSETS: _start_offsets(job, frame),
            **_alignment(job, frame, solved),
        },
    )


def _start_offsets(job: ShotJob, frame: int) -> str:
    """Return the offsets of what is in the frame: a lamp that is out changes no master."""
    burning = [step for step in job.steps if step.gain(frame)]
    names = {name for step in burning for name in job.passes_in(step)}
    names |= {name for step in burning for name in job.passes_behind(step)}
    names = {name for name in names if job.passes[name].use is None}
    told = {name: job.passes[name].stated_offset for name in sorted(names)}
    return json.dumps(told)


def _alignment(job: ShotJob, frame: int, solved: Solved) -> dict[str, str]:
    applied = applied_motions(solved, job, frame)
    return {ALIGNMENT: json.dumps(applied, sort_keys=True)} if applied else {}


def _reference_facts(job: ShotJob, frame: int, material: Material) -> Facts | None:
    """Return what the reference says of a frame; None where it has no whole file for it."""
    try:
        return material.pass_facts(job.reference_pass, frame)
    except GlimsumError:
        # The reference lights nothing: a frame is none the worse for one without a date.
        return None


def _timecode(job: ShotJob, frame: int, facts: Facts) -> Timecode | None:
    """Return the label of a frame: its own, or for a clip the first label counted on."""
    found = _TIMECODE.fullmatch(facts.timecode or "")
    if found is None:
        return None
    hours, minutes, seconds, frames = (int(found[group]) for group in (1, 2, 3, 5))
    first = Timecode(hours, minutes, seconds, frames, drop=found[4] == ";")
    if facts.clip is None:
        return first
    try:
        return first.later(frame - job.frames.first, job.rate_fraction)
    except GlimsumError:
        return None
