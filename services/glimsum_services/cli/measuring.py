"""`glimsum measure`: where every pass lies against the reference, with nothing combined."""

from collections.abc import Iterable
from pathlib import Path
from typing import Annotated, Any

import typer

from glimsum_jobs.shot import ShotJob
from glimsum_jobs.tracks import PassTrack, Placed
from glimsum_services.cli.options import AsJson, RootPairs, read_roots
from glimsum_services.cli.running import read_settings
from glimsum_services.cli.telling import problem_lines, say, say_json

KEPT = "stills"
"""Folder of kept measurements inside the state folder; shared with `glimsum still`."""


def measure(
    job: Annotated[Path, typer.Argument(metavar="JOB", help="The job file.")],
    *,
    out: Annotated[
        Path | None,
        typer.Option("--out", help="Folder for plots and pictures of before and after."),
    ] = None,
    root: RootPairs = None,
    as_json: AsJson = False,
) -> None:
    """Measure where every pass lies against the reference (the steady test); combine nothing."""
    from glimsum_services.cli.local_jobs import only_job  # noqa: PLC0415  # loads the YAML reader
    from glimsum_services.workshop import measure_here  # noqa: PLC0415  # loads the engine

    settings = read_settings()
    local = only_job(job, settings.roots | read_roots(root))
    told = measure_here(local.job, local.roots, settings.state_folder / KEPT, out)
    if as_json:
        say_json(tracks_json(local.job, told.tracks))
        return
    for line in table_lines(told.tracks):
        say(line)
    for line in problem_lines([*local.remarks, *map(local.as_written, told.problems)]):
        say(line)
    for picture in told.pictures:
        say(f"{picture}")


def tracks_json(job: ShotJob, tracks: dict[str, PassTrack]) -> dict[str, Any]:
    """Return the tracks as the command prints them for machines."""
    return {
        "passes": {
            name: {
                "start_offset": job.passes[name].start_offset,
                "frames": [
                    {"frame": frame, **placed.model_dump(exclude={"source"})}
                    for frame, placed in track.frames.items()
                ],
            }
            for name, track in tracks.items()
        }
    }


def table_lines(tracks: dict[str, PassTrack]) -> list[str]:
    """Return the table of the steady test: root mean square and worst of every axis, pixels."""
    lines = [
        f"{'pass':<16}{'x rms':>8}{'x worst':>9}{'y rms':>8}{'y worst':>9}{'sigma':>8}  not sure"
    ]
    for name, track in tracks.items():
        placed = list(track.frames.values())
        x, y = [each.dx for each in placed], [each.dy for each in placed]
        sure = sum(each.trusted for each in placed)
        lines.append(
            f"{name:<16}{_rms(x):>8.3f}{_worst(x):>+9.3f}{_rms(y):>8.3f}{_worst(y):>+9.3f}"
            f"{_sigma(placed):>8}  {len(placed) - sure} of {len(placed)}"
        )
    return lines


def _rms(values: list[float]) -> float:
    return float((sum(v * v for v in values) / len(values)) ** 0.5) if values else 0.0


def _worst(values: list[float]) -> float:
    return max(values, key=abs, default=0.0)


def _sigma(placed: Iterable[Placed]) -> str:
    known = sorted(each.sigma_px for each in placed if each.sigma_px is not None)
    return f"{known[len(known) // 2]:.3f}" if known else "unknown"
