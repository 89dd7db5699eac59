"""`glimsum measure`: where every pass lies against the reference, with nothing combined."""

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from glimsum_jobs.errors import JobError
from glimsum_jobs.problems import Problem, stopped_frames
from glimsum_services.cli.exit_codes import Ending
from glimsum_services.cli.measured_words import tell_measured
from glimsum_services.cli.options import AsJson, RootPairs, read_roots
from glimsum_services.cli.reaching import read_settings
from glimsum_services.cli.telling import problem_json, problem_lines, say, say_json
from glimsum_services.measured_form import OverlayShown, RegionShown, ResidualShown, show_pass

if TYPE_CHECKING:
    from glimsum_services.cli.local_jobs import LocalJob
    from glimsum_services.workshop.measuring import MeasuredHere

KEPT = "stills"
"""Folder of kept measurements inside the state folder; shared with `glimsum still`."""


def measure(
    job: Annotated[Path, typer.Argument(metavar="JOB", help="The job file.")],
    *,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", help="Folder for measurements.json, plots, and pictures of before and after."
        ),
    ] = None,
    root: RootPairs = None,
    as_json: AsJson = False,
) -> Ending:
    """Measure where every pass lies against the reference (the steady test); combine nothing.

    Ends with 0 where every frame was measured, with 1 where the shot is refused or frames are set
    aside; what is worth a remark does not change that.
    """
    from glimsum_services.cli.local_jobs import only_job  # noqa: PLC0415  # loads the YAML reader
    from glimsum_services.workshop.measuring import (  # noqa: PLC0415  # loads the engine
        measure_here,
        write_measurements,
    )

    settings = read_settings()
    local = only_job(job, settings.roots | read_roots(root))
    try:
        here = measure_here(local.job, local.roots, settings.state_folder / KEPT, out)
    except JobError as error:
        raise JobError(error.what, [local.as_written(each) for each in error.problems]) from error
    problems = [*local.remarks, *map(local.as_written, here.told.problems)]
    document = measured_json(here, problems)
    if out is not None:
        write_measurements(out, json.dumps(document, ensure_ascii=False, indent=1))
    if as_json:
        say_json(document)
    else:
        _tell(local, here, problems, document, out)
    return Ending.REFUSED if stopped_frames(problems) else Ending.DONE


def measured_json(here: "MeasuredHere", problems: list[Problem]) -> dict[str, Any]:
    """Return what was measured as the command prints and writes it for machines."""
    told = here.told
    return {
        "shot": told.job.shot,
        "camera": told.job.camera,
        "reference": told.job.reference_pass,
        "passes": {name: _pass_json(here, name) for name in told.tracks},
        "unmeasured": dict(told.unmeasured),
        "remarks": [problem_json(each) for each in problems],
    }


def _pass_json(here: "MeasuredHere", name: str) -> dict[str, Any]:
    told = here.told
    offset = told.job.passes[name].stated_offset
    shown = show_pass(offset, told.tracks[name], told.checked.passes.get(name))
    left, overlay = told.left.get(name), told.overlays.get(name)
    residual = None
    if left is not None:
        residual = ResidualShown(
            rows=left.grid.rows,
            columns=left.grid.columns,
            frames=left.frames,
            p50_px=_rounded(left.p50_px),
            p95_px=_rounded(left.p95_px),
            sigma_px=_rounded(left.sigma_px),
            misfit=round(here.misfits[name], 3),
            regions=[
                RegionShown.model_validate({k: _rounded(v) for k, v in vars(region).items()})
                for region in left.regions
            ],
        ).model_dump()
    laid = None
    if overlay is not None:
        laid = OverlayShown(
            frame=overlay.frame,
            agreement_before=_rounded(overlay.agreement_before),
            agreement_after=_rounded(overlay.agreement_after),
        ).model_dump()
    return {
        **shown.model_dump(),
        "residual": residual,
        "overlay": laid,
        "pictures": dict(here.pictures.get(name, {})),
    }


def _tell(
    local: "LocalJob",
    here: "MeasuredHere",
    problems: list[Problem],
    document: dict[str, Any],
    out: Path | None,
) -> None:
    say(f"{local.job.shot}: camera {document['camera']}, reference {document['reference']}")
    for line in tell_measured(here.told.tracks, document):
        say(line)
    for line in problem_lines(problems):
        say(line)
    if out is None:
        say("Name a folder with --out for measurements.json, plots and pictures.")
        return
    say(f"{out / 'measurements.json'}")
    for pictures in document["passes"].values():
        for file in pictures["pictures"].values():
            say(f"{out / file}")


def _rounded(value: float) -> float:
    return value if isinstance(value, int) else round(value, 4)
