"""`glimsum check`: everything that can be wrong with a job and its files, without a service."""

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from glimsum_jobs.errors import GlimsumError
from glimsum_jobs.kept_room import light_bytes
from glimsum_jobs.problems import Problem, Rank, stopped_frames
from glimsum_services.cli.exit_codes import Ending
from glimsum_services.cli.open_questions import open_questions
from glimsum_services.cli.options import AsJson, JobFiles, RootPairs, read_roots
from glimsum_services.cli.reaching import read_settings
from glimsum_services.cli.tables import size_words, table_lines
from glimsum_services.cli.telling import problem_json, problem_lines, problems_of, say, say_json
from glimsum_services.measured_form import show_pass

if TYPE_CHECKING:
    from glimsum_jobs.measurements import Checked, FoundPass
    from glimsum_jobs.shot import ShotJob


def check(jobs: JobFiles, *, root: RootPairs = None, as_json: AsJson = False) -> Ending:
    """Check jobs and all their files here, without a service; nothing is written."""
    settings = read_settings()
    roots, allowed = settings.roots | read_roots(root), settings.keep_mib * 1024 * 1024
    found = [report for file in jobs for report in _check_file(file, roots, allowed)]
    if as_json:
        say_json({"jobs": found})
    else:
        for report in found:
            _tell(report)
    whole = not any(report["refused"] or report["set_aside"] for report in found)
    return Ending.DONE if whole else Ending.REFUSED


def _check_file(file: Path, roots: Mapping[str, Path], allowed: int) -> list[dict[str, Any]]:
    """Return a report a job; of kept light `allowed` bytes may be there."""
    from glimsum_services.cli.local_jobs import (  # noqa: PLC0415  # loads the YAML reader
        read_local_jobs,
    )
    from glimsum_services.workshop.checking import check_here  # noqa: PLC0415  # loads the engine

    asked = open_questions(file)
    try:
        reports: list[dict[str, Any]] = []
        for each in read_local_jobs(file, roots):
            checked = check_here(each.job, each.roots)
            problems = [*each.remarks, *map(each.as_written, checked.problems)]
            problems += [] if reports else asked
            reports.append(_report(file, each.job, checked, problems))
            needed = light_bytes(each.job, checked)
            kept = {"asked": each.job.keep, "bytes": needed, "allowed": allowed}
            reports[-1]["keep"] = kept
    except GlimsumError as error:
        problems = problems_of(error) + asked
        return [
            {
                "file": str(file),
                "shot": problems[0].place.shot,
                "refused": True,
                "set_aside": [],
                "problems": [problem_json(each) for each in problems],
                "words": problem_lines(problems),
            }
        ]
    return reports


def _report(
    file: Path, job: "ShotJob", checked: "Checked", problems: list[Problem]
) -> dict[str, Any]:
    return {
        "file": str(file),
        "shot": job.shot,
        "refused": any(problem.rank is Rank.STOPS_SHOT for problem in problems),
        "camera": job.camera,
        "frames": {"first": job.frames.first, "last": job.frames.last, "rate": job.rate},
        "set_aside": sorted(stopped_frames(problems)),
        "passes": {
            name: {
                "use": job.passes[name].use or "lamp",
                "files": found.count,
                "held": found.count == 1 and not found.covers,
                "width": found.width,
                "height": found.height,
                "space": job.passes[name].space,
                "stops": _stops(job, name),
                "first": found.first + found.start_offset,
                "start_offset": found.start_offset,
                "offset": _offset_json(found),
            }
            for name, found in checked.passes.items()
        },
        "needed_bytes": checked.needed_bytes,
        "free_bytes": checked.free_bytes,
        "problems": [problem_json(each) for each in problems],
        "words": problem_lines(problems),
    }


def _offset_json(found: "FoundPass") -> dict[str, Any] | None:
    """Return how a start offset was found; None where it was stated."""
    told = show_pass(found.start_offset, None, found).offset
    return None if told is None else told.model_dump(mode="json")


def _stops(job: "ShotJob", name: str) -> float | None:
    exposure, unit = job.passes[name].exposure, job.passes[job.unit_pass].exposure
    if exposure is None or unit is None:
        return None
    return round(exposure.stops_against(unit).stops, 4)


def _tell(report: dict[str, Any]) -> None:
    say(f"{report['shot'] or '(no shot)'}, {report['file']}")
    if "passes" in report:
        frames = report["frames"]
        count = frames["last"] - frames["first"] + 1
        say(
            f"camera {report['camera']}, frames {frames['first']} to {frames['last']} "
            f"({count}), {frames['rate']} a second"
        )
        rows = [_row(name, each) for name, each in report["passes"].items()]
        heading = ("pass", "use", "files", "picture", "space", "stops", "first file")
        for line in table_lines(heading, rows):
            say(f"  {line}")
        for name, each in report["passes"].items():
            if each["offset"] is not None:
                say(f"start offset of {name}: {_offset_words(each)}")
        needed, free = size_words(report["needed_bytes"]), size_words(report["free_bytes"])
        say(f"needs {needed} of {free} free")
        if report["keep"]["asked"] != "none":
            kept, allowed = (size_words(report["keep"][each]) for each in ("bytes", "allowed"))
            say(f"kept light of aligned passes would be {kept}, {allowed} are allowed")
    for line in report["words"]:
        say(line)
    say(_verdict(report))
    say()


def _row(name: str, found: dict[str, Any]) -> tuple[object, ...]:
    stops = "" if found["stops"] is None else f"{found['stops']:+.2f}"
    picture = f"{found['width']} x {found['height']}"
    files = "one still" if found["held"] else str(found["files"])
    return (name, found["use"], files, picture, found["space"], stops, found["first"])


def _offset_words(found: dict[str, Any]) -> str:
    offset, told = found["start_offset"], found["offset"]
    if not told["frames"]:
        return f"{offset}, not looked for"
    ahead = f"{100 * told['margin']:.0f} % ahead of the next"
    return f"{offset}, {ahead}" if told["certain"] else f"a guess, {offset}, {ahead}"


def _verdict(report: dict[str, Any]) -> str:
    if report["refused"]:
        return "refused"
    aside = len(report["set_aside"])
    if aside:
        return f"can be combined, {aside} {'frame' if aside == 1 else 'frames'} set aside"
    return "can be combined"
