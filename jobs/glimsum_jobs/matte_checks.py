"""What mattes are made of: passes that were shot for it."""

from glimsum_jobs.findings import Findings
from glimsum_jobs.mattes import BackingMatte
from glimsum_jobs.shot import ShotJob


def check_mattes(job: ShotJob, findings: Findings) -> None:
    """Find mattes of passes that were shot for something else."""
    for name, matte in job.mattes.items():
        if isinstance(matte, BackingMatte) and isinstance(matte.empty, str):
            use = job.passes[matte.empty].use
            if use != "empty_backing":
                findings.add(
                    ("mattes", name, "empty"),
                    f"pass {matte.empty} is not stated to be the empty backing",
                    seen=f"use: {use or 'none, a lamp pass'}",
                    expected="use: empty_backing",
                    remedy=f"Write `use: empty_backing` in pass {matte.empty}.",
                )
