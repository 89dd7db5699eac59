"""Passes whose start offset can't be found from what they show."""

from glimsum_jobs.findings import Findings
from glimsum_jobs.passes import Pass
from glimsum_jobs.shot import ShotJob


def check_offsets(job: ShotJob, findings: Findings) -> None:
    """Find passes with ``start_offset: auto`` that can't be compared with the reference."""
    for name, each in job.passes.items():
        if each.start_offset != "auto":
            continue
        expected, remedy = _what_to_state(job, name, each)
        if expected:
            findings.add(
                ("passes", name, "start_offset"),
                f"the start offset of pass {name} can't be found",
                seen="start_offset: auto",
                expected=expected,
                remedy=remedy,
            )


def _what_to_state(job: ShotJob, name: str, each: Pass) -> tuple[str, str]:
    """Return what is expected instead and what to do; empty where the offset can be found."""
    if name == job.reference_pass:
        return (
            "none: the other passes are held against this one",
            "Leave start_offset out, and say by first where the shot begins in this pass.",
        )
    if each.use == "ambient":
        return (
            "a whole number: a pass without lamps shows too little to compare",
            "State start_offset as the log has it, or leave it out for 0.",
        )
    if each.use is not None:
        return (
            f"none: all files of a pass with use: {each.use} are averaged",
            "Leave start_offset out.",
        )
    return "", ""
