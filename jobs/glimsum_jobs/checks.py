"""What the schema can't say: numbers and uses of a job that must fit each other."""

from glimsum_jobs.colour import find_space, find_view, find_working_space
from glimsum_jobs.cue_checks import check_cues
from glimsum_jobs.element_checks import check_elements
from glimsum_jobs.errors import GlimsumError
from glimsum_jobs.exposures import Exposure
from glimsum_jobs.findings import Findings
from glimsum_jobs.insert_checks import check_inserts
from glimsum_jobs.matte_checks import check_mattes
from glimsum_jobs.offset_checks import check_offsets
from glimsum_jobs.passes import Pass, Steady
from glimsum_jobs.place_checks import check_places
from glimsum_jobs.problems import Problem, Rank
from glimsum_jobs.recipe_checks import check_recipe
from glimsum_jobs.schema_problems import Path, Positions
from glimsum_jobs.shot import ShotJob
from glimsum_jobs.take_checks import check_takes


def check_job(job: ShotJob, positions: Positions) -> list[Problem]:
    """Find everything in a well-formed job that makes it senseless or is worth a remark."""
    findings = Findings(positions, job.shot)
    _check_spaces(job, findings)
    for name, each in job.passes.items():
        _check_references_of(job, name, each, findings)
        _check_anchor(job, name, findings)
    _check_exposures(job, findings)
    check_recipe(job, findings)
    check_cues(job, findings)
    check_takes(job, findings)
    check_mattes(job, findings)
    check_elements(job, findings)
    check_inserts(job, findings)
    check_offsets(job, findings)
    check_places(job, findings)
    if job.handles.head + job.handles.tail >= job.frames.count:
        findings.add(
            ("handles",),
            "the handles leave no frame for the cut",
            seen=f"{job.handles.head} + {job.handles.tail} handles",
            expected=f"fewer than the {job.frames.count} frames of the shot",
            remedy="Make the handles shorter or the frame range longer.",
        )
    return findings.problems


def _check_spaces(job: ShotJob, findings: Findings) -> None:
    for name, each in job.passes.items():
        try:
            find_space(each.space)
        except GlimsumError as error:
            findings.add_error(("passes", name, "space"), error)
    try:
        find_working_space(job.space)
    except GlimsumError as error:
        findings.add_error(("space",), error)
    try:
        find_view(job.viewing.display, job.viewing.view)
    except GlimsumError as error:
        findings.add_error(("viewing",), error)


def _check_references_of(job: ShotJob, name: str, each: Pass, findings: Findings) -> None:
    for field, wanted in ((each.dark, "dark"), (each.ambient, "ambient")):
        if isinstance(field, str) and field in job.passes and job.passes[field].use != wanted:
            findings.add(
                ("passes", name, wanted),
                f"pass {field} is not stated to be {wanted}",
                seen=f"use: {job.passes[field].use or 'none, a lamp pass'}",
                expected=f"use: {wanted}",
                remedy=f"Write `use: {wanted}` in pass {field}, or name another pass.",
            )
    if isinstance(each.dark, str) and each.dark in job.passes:
        _check_dark(name, each, job.passes[each.dark], findings)
    if each.use in ("dark", "ambient") and each.ambient is not None:
        findings.add(
            ("passes", name, "ambient"),
            f"a pass with use: {each.use} has no ambient of its own",
            seen=f"ambient: {each.ambient}",
            expected="no ambient",
            remedy="Leave ambient out of this pass.",
        )


def _check_anchor(job: ShotJob, name: str, findings: Findings) -> None:
    level = job.passes[name].level
    if isinstance(level, Steady) and level.steady not in job.frames.numbers:
        findings.add(
            ("passes", name, "level"),
            f"the frame whose level pass {name} shall keep is not in the shot",
            seen=f"steady: {level.steady}",
            expected=f"a frame from {job.frames.first} to {job.frames.last}",
            remedy="Name a frame of the shot, or write level: steady.",
        )
    elif isinstance(level, Steady) and level.meant(level.steady) == 0:
        findings.add(
            ("passes", name, "level"),
            f"the lamp of pass {name} is out on the frame all others are held to",
            seen=f"steady: {level.steady}, where stops say out",
            expected="a frame on which the lamp burns",
            remedy="Name another frame.",
        )


def _check_dark(name: str, each: Pass, dark: Pass, findings: Findings) -> None:
    """Hold a dark to its pass: same space, crop, white balance, seconds and ISO."""
    pairs: list[tuple[str, object, object]] = [
        ("space", each.space, dark.space),
        ("crop", each.crop, dark.crop),
        ("range", each.range, dark.range),
    ]
    if each.exposure and dark.exposure:
        pairs += [
            ("seconds", each.exposure.seconds, dark.exposure.seconds),
            ("iso", each.exposure.iso, dark.exposure.iso),
        ]
    for field, mine, its in pairs:
        if mine != its:
            findings.add(
                ("passes", name, "dark"),
                f"pass {name} and its dark {each.dark} differ in {field}",
                seen=f"{name}: {mine}, {each.dark}: {its}",
                expected=f"the same {field}, for the dark level grows with time and gain",
                remedy="Name the dark that was shot for this pass.",
            )


def _check_exposures(job: ShotJob, findings: Findings) -> None:
    silhouettes = job.silhouettes
    stated = [name for name in silhouettes if job.passes[name].exposure is not None]
    needed = {name for step in job.steps for name in job.passes_in(step)}
    needed |= {name for name, each in job.passes.items() if each.use == "ambient"}
    if stated:
        needed |= silhouettes
    for name in job.passes:
        if name in needed and job.passes[name].exposure is None:
            findings.add(
                ("passes", name),
                f"how much light did pass {name} receive?",
                seen="no exposure",
                expected=f"exposure against pass {job.unit_pass}, in stops or as seconds, "
                "f_number and iso",
                remedy="Add exposure: {stops: 0} if it was exposed like the unit pass.",
            )
    unit = job.passes[job.unit_pass].exposure
    if unit is None:
        return
    for name, each in job.passes.items():
        if each.exposure is not None:
            _check_exposure(name, each.exposure, unit, findings)


def _check_exposure(name: str, exposure: Exposure, unit: Exposure, findings: Findings) -> None:
    path: Path = ("passes", name, "exposure")
    try:
        exposed = exposure.stops_against(unit)
    except GlimsumError as error:
        findings.add_error(path, error)
        return
    for remark in exposed.remarks:
        findings.add(
            path,
            remark,
            seen=str(exposure.model_dump(exclude_none=True)),
            expected="numbers marked on a camera",
            remedy="Nothing to do if that is what was shot.",
            rank=Rank.REMARK,
        )
