"""What a job says of the place of its passes: alignment frames that can do their work."""

from glimsum_jobs.colour import find_space
from glimsum_jobs.errors import GlimsumError
from glimsum_jobs.findings import Findings
from glimsum_jobs.passes import AlignmentFrame
from glimsum_jobs.shot import ShotJob


def check_places(job: ShotJob, findings: Findings) -> None:
    """Find alignment frames that are of no use, or whose frame is not of the shot."""
    for name, each in job.passes.items():
        if each.alignment is not None:
            _check_alignment(job, name, each.alignment, findings)


def _check_alignment(job: ShotJob, name: str, told: AlignmentFrame, findings: Findings) -> None:
    each, path = job.passes[name], ("passes", name, "alignment_frame")
    useless = {
        f"use: {each.use}": each.use is not None,
        "align: none": each.align == "none",
        "the reference itself": name == job.reference_pass,
    }
    for seen, applies in useless.items():
        if applies:
            findings.add(
                path,
                f"the alignment frame of pass {name} would not be used",
                seen=seen,
                expected="a lamp pass that is aligned to the reference",
                remedy="Leave alignment_frame out, or write align: similarity.",
            )
            return
    if told.space is not None:
        try:
            find_space(told.space)
        except GlimsumError as error:
            findings.add_error((*path, "space"), error)
    frame = job.alignment_number(name)
    if frame is None or frame not in job.frames.numbers:
        findings.add(
            path,
            f"the alignment frame of pass {name} belongs to no frame of the shot",
            seen=f"frame: {frame}",
            expected=f"a frame from {job.frames.first} to {job.frames.last}",
            remedy="Name the shot frame at whose place of the rig it was taken.",
        )
    elif not job.looks_at(name, frame):
        findings.add(
            path,
            f"pass {name} is out on the frame its alignment frame belongs to",
            seen=f"frame {frame}, where no step lights it",
            expected="a frame on which the lamp burns, so that both can be compared",
            remedy="Take the alignment frame where the lamp burns, and say so with frame.",
        )
