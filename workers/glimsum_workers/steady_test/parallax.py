"""Regions that are displaced differently: the camera stood elsewhere, or something moved."""

from collections.abc import Mapping
from typing import get_args

import numpy as np

from glimsum_jobs.passes import Pass
from glimsum_jobs.problems import Place, Problem, Rank
from glimsum_jobs.shot import ShotJob
from glimsum_workers.steady_test.regions import Left

MOST_MISFIT = 2.0
"""Root mean square of what is left in regions over their sigma, above which it is told.

Seen: 0.5 to 1.3 where one motion fits (films of the quay, harbour), 10 where the camera had moved
by half a millimetre in the light of the reference, 2.2 for the harbour's beauty, whose camera
moved; 0.7 in light from the side, where half a millimetre hides in what the light does."""
_LEAST_PX = 0.03
"""A median below this isn't worth a person's attention."""
_LEAST_REGIONS = 8
_FIELD_IS_KNOWN = "field" in get_args(Pass.model_fields["align"].annotation)


def misfit_of(left: Left) -> float:
    """Return the root mean square of what is left in the regions, an axis, over its sigma."""
    if not left.regions:
        return 0.0
    squares = [
        (each.dx**2 + each.dy**2) / (2 * max(each.sigma_px, 1e-3) ** 2) for each in left.regions
    ]
    return float(np.sqrt(np.mean(squares)))


def tell_parallax(job: ShotJob, left: Mapping[str, Left]) -> list[Problem]:
    """Return a remark for each pass whose regions no single motion brings back together."""
    return [
        _remark(job, name, each)
        for name, each in left.items()
        if len(each.regions) >= _LEAST_REGIONS
        and each.p50_px >= _LEAST_PX
        and misfit_of(each) >= MOST_MISFIT
    ]


def _remark(job: ShotJob, name: str, left: Left) -> Problem:
    worst = max(left.regions, key=lambda region: region.length)
    tried = str(job.passes[name].align) == "field"
    helps = job.camera == "moving" and _FIELD_IS_KNOWN and not tried
    field = " or, as the camera moves, try align: field" if helps else ""
    return Problem(
        rank=Rank.REMARK,
        what=f"near and far parts of pass {name} are displaced differently: position drift",
        place=Place(shot=job.shot, pass_name=name),
        seen=(
            f"{left.p50_px:.2f} px left on half the regions of {left.frames} frames and "
            f"{left.p95_px:.2f} px on 95 %, {misfit_of(left):.1f} times their sigma; most about "
            f"x {worst.x:.0f}, y {worst.y:.0f} px: {worst.dx:+.2f} px across, "
            f"{worst.dy:+.2f} px down"
        ),
        expected=f"at most {MOST_MISFIT:.0f} times their sigma",
        remedy=(
            "The place of the camera drifted, not only its direction: no shift, rotation or "
            f"scale can help. Shoot the pass again from the place of the reference{field}."
        ),
    )
