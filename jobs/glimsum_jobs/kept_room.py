"""How much room the light of a shot's passes takes when it is kept."""

from glimsum_jobs.measurements import Checked
from glimsum_jobs.plan import dead_frames
from glimsum_jobs.shot import ShotJob

COLOUR_BYTES = 12
"""Three 32-bit floats a pixel: what is kept is what is combined, number for number."""
ALPHA_BYTES = 4
CLIPPED_BITS = 1


def light_bytes(job: ShotJob, checked: Checked) -> int:
    """Return how many bytes the kept light of all passes on all frames takes.

    Parameters
    ----------
    job : ShotJob
        Says which passes are used on which frames, by steps and by mattes.
    checked : Checked
        Says how large they are, and which frames are dead.

    Returns
    -------
    int
        Without the few bytes a file has about itself.
    """
    return sum(_bytes(job, checked, name) for name, _ in kept_light(job, checked))


def kept_light(job: ShotJob, checked: Checked) -> list[tuple[str, int]]:
    """Return the passes or takes whose light is kept, each with the shot frame of its picture."""
    dead = dead_frames(checked)
    found: set[tuple[str, int]] = set()
    for frame in job.frames.numbers:
        if frame in dead:
            continue
        for step in job.steps:
            if step.gain(frame) or step.matte is not None or step.operator != "plus":
                found |= {(name, step.shown(frame)) for name in step.names}
                lit = (name for name in job.passes_behind(step) if job.passes[name].use is None)
                found |= {(name, frame) for name in lit}
    return sorted(found)


def _bytes(job: ShotJob, checked: Checked, name: str) -> int:
    sources = [checked.passes[each] for each in job.sources_of(name) if each in checked.passes]
    if not sources:
        return 0
    alpha = ALPHA_BYTES if any(each.alpha for each in sources) else 0
    pixels = max(each.width * each.height for each in sources)
    return pixels * (COLOUR_BYTES + alpha) + -(-pixels * CLIPPED_BITS // 8)
