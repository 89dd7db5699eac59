"""Every file of a job looked at, here."""

from collections.abc import Mapping
from pathlib import Path

from glimsum_jobs.measurements import Checked
from glimsum_jobs.shot import ShotJob
from glimsum_workers.check_shot import check_shot
from glimsum_workers.frames.roots import Roots


def check_here(job: ShotJob, roots: Mapping[str, Path]) -> Checked:
    """Look at every file of a job; all its paths are ``root:path`` with these roots."""
    return check_shot(job, Roots(roots))
