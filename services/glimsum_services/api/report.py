"""The night report: what happened, and what to do first."""

import time
from typing import Annotated

from fastapi import APIRouter, Query
from pydantic import AwareDatetime

from glimsum_services.api.problem_details import error_answers, refusal
from glimsum_services.api.service import Served
from glimsum_services.api.shots import ShotName, Version
from glimsum_services.report.models import NightReport
from glimsum_services.report.night import named_runs

router = APIRouter(tags=["report"])

USUAL_S = 24 * 3600.0
"""How far back a report goes that names neither a time nor a shot."""

Since = Annotated[
    AwareDatetime | None,
    Query(description="Runs that were open then or later; left out: the last 24 hours."),
]
Name = Annotated[
    str | None,
    Query(
        min_length=1,
        max_length=200,
        description="A shot (its newest version), SHOT/vNNN, or a sequence: these runs alone.",
    ),
]


@router.get("/report", operation_id="get_report", responses=error_answers(404))
def get_report(service: Served, since: Since = None, name: Name = None) -> NightReport:
    """Tell the night: what to do first, then each shot, the machines, and the hours without work.

    Made from the ledger and from what workers left in the version folders. At most 200 versions,
    those in trouble first; of each at most 60 different matters.
    """
    now = time.time()
    begin = None if since is None else min(max(since.timestamp(), 0.0), now)
    if name is None:
        return service.reporter.night(now - USUAL_S if begin is None else begin)
    runs = named_runs(service.shots, name)
    if runs is None:
        raise refusal(
            404,
            "there is no shot, version or sequence of that name",
            seen=name,
            expected="one that was submitted; GET /shots lists shots",
            remedy="Check its name.",
        )
    return service.reporter.night(begin, runs)


@router.get(
    "/shots/{shot}/versions/{version}/report",
    operation_id="get_version_report",
    responses=error_answers(404),
)
def get_version_report(service: Served, shot: ShotName, version: Version) -> NightReport:
    """Tell what happened to one version, over its whole time."""
    return service.reporter.night(None, [service.find(shot, version).run])
