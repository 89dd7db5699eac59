"""Asking a night report for what a test is about."""

from pathlib import Path
from typing import Any

from glimsum_services.report.models import Matter, NightReport
from glimsum_services.store.machines import Machine, Machines
from support.night_here import Night


def named(report: NightReport, kind: str) -> Matter:
    """Return the one matter of a kind that stands on top, with what to do."""
    found = [matter for matter in report.first if matter.kind == kind]
    assert len(found) == 1, [str(each) for each in report.first]
    assert found[0].remedy
    return found[0]


def kinds(report: NightReport) -> list[str]:
    return [matter.kind for matter in report.first]


def hear(night: Night, host: str, *, seconds_ago: float = 0.0, **more: Any) -> None:
    machine = Machine(
        machine=f"m-{host}", host=host, slots=2, queues=("heavy",), program="1", started=0.0, **more
    )
    Machines(night.client).hear(machine)
    if seconds_ago:
        heard: Any = night.client.zscore("glimsum:machines", machine.machine)
        night.client.zadd("glimsum:machines", {machine.machine: heard - seconds_ago})


def cut(path: Path) -> None:
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 3])
