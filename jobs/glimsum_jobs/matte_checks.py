"""What mattes are made of: passes that were shot for it, outlines with an inside, no loops."""

from glimsum_jobs.findings import Findings
from glimsum_jobs.frame_ranges import runs_of
from glimsum_jobs.mattes import (
    BackingMatte,
    DifferenceMatte,
    LuminanceMatte,
    Matte,
    ShapeMatte,
)
from glimsum_jobs.problems import Rank
from glimsum_jobs.schema_problems import Path
from glimsum_jobs.shot import ShotJob

SMALLEST_AREA = 1e-6
"""Square pixels; an outline with less has no inside."""


def check_mattes(job: ShotJob, findings: Findings) -> None:
    """Find mattes that can't be made, or not of what they name."""
    for name, matte in job.mattes.items():
        match matte:
            case BackingMatte():
                _check_light(job, name, "pass", matte.pass_name, findings)
                _check_backing(job, name, matte, findings)
            case ShapeMatte():
                _check_outlines(job, name, matte, findings)
            case LuminanceMatte():
                _check_light(job, name, "luminance_of", matte.luminance_of, findings)
                _check_span(("mattes", name), matte.low, matte.high, findings)
                if matte.until is not None:
                    _check_fall(name, matte, findings)
            case DifferenceMatte():
                _check_light(job, name, "difference", matte.difference, findings)
                _check_light(job, name, "plate", matte.plate, findings)
                _check_span(("mattes", name), matte.low, matte.high, findings)
                _check_plate(name, matte, findings)
            case _:
                pass
    _check_loops(job, findings)


def _check_backing(job: ShotJob, name: str, matte: BackingMatte, findings: Findings) -> None:
    if not isinstance(matte.empty, str):
        return
    use = job.passes[matte.empty].use
    if use != "empty_backing":
        findings.add(
            ("mattes", name, "empty"),
            f"pass {matte.empty} is not stated to be the empty backing",
            seen=f"use: {use or 'none, a lamp pass'}",
            expected="use: empty_backing",
            remedy=f"Write `use: empty_backing` in pass {matte.empty}.",
        )


def _check_light(job: ShotJob, name: str, field: str, told: str, findings: Findings) -> None:
    """Refuse what is averaged over the shot where a picture a frame is needed."""
    each = job.passes.get(told)
    if each is not None and each.use is not None:
        findings.add(
            ("mattes", name, field),
            f"pass {told} has no picture of its own on every frame",
            seen=f"use: {each.use}, which is averaged",
            expected="a pass that shows the set on every frame",
            remedy="Name another pass, or leave `use` out of this one.",
        )


def _check_span(path: Path, low: float, high: float, findings: Findings) -> None:
    if high <= low:
        findings.add(
            (*path, "high"),
            "the weight has no way from 0 to 1",
            seen=f"low: {low:g}, high: {high:g}",
            expected=f"high above {low:g}",
            remedy="Let high be larger than low; a hard step would flicker with the grain.",
        )


def _check_fall(name: str, matte: LuminanceMatte, findings: Findings) -> None:
    until = matte.until
    if until is None:
        return
    _check_span(("mattes", name, "until"), until.low, until.high, findings)
    if until.low < matte.high:
        findings.add(
            ("mattes", name, "until", "low"),
            "the weight falls before it has risen",
            seen=f"until low: {until.low:g}, high: {matte.high:g}",
            expected=f"until low from {matte.high:g} on",
            remedy="Let it fall above the luminance at which it is 1.",
        )


def _check_plate(name: str, matte: DifferenceMatte, findings: Findings) -> None:
    if matte.difference == matte.plate:
        findings.add(
            ("mattes", name, "plate"),
            f"pass {matte.plate} does not differ from itself",
            seen=f"difference: {matte.difference}, plate: {matte.plate}",
            expected="two passes, the plate without what is sought",
            remedy="Name the clean plate.",
        )


def _check_outlines(job: ShotJob, name: str, matte: ShapeMatte, findings: Findings) -> None:
    wanted = len(matte.shape[0].points)
    for index, key in enumerate(matte.shape):
        path: Path = ("mattes", name, "shape", index, "points")
        if len(key.points) != wanted:
            findings.add(
                path,
                f"the outline of matte {name} on frame {key.frame} has another number of corners",
                seen=f"{len(key.points)} corners",
                expected=f"{wanted}, as on frame {matte.shape[0].frame}",
                remedy="Give every key the same corners in the same order: each moves to its like.",
            )
        elif abs(_area(key.points)) < SMALLEST_AREA:
            findings.add(
                path,
                f"the outline of matte {name} on frame {key.frame} has no inside",
                seen=f"an area of {abs(_area(key.points)):g} square pixels",
                expected="corners that are not on one line",
                remedy="Put its corners in order round the shape.",
            )
    outside = [key.frame for key in matte.shape if key.frame not in job.frames.numbers]
    if outside:
        findings.add(
            ("mattes", name, "shape"),
            f"{len(outside)} outlines lie outside the shot",
            seen=f"frames {runs_of(outside)}",
            expected=f"{job.frames.first} to {job.frames.last}",
            remedy="Nothing to do if the shape is meant to move from or to there."
            if matte.follow is None
            else "Key a shape that follows the reference on frames of the shot alone.",
            rank=Rank.REMARK if matte.follow is None else Rank.STOPS_SHOT,
        )


def _area(points: tuple[tuple[float, float], ...]) -> float:
    """Return the signed area of an outline (shoelace formula), square pixels."""
    turned = (*points[1:], points[0])
    return sum(x * v - u * y for (x, y), (u, v) in zip(points, turned, strict=True)) / 2


def _check_loops(job: ShotJob, findings: Findings) -> None:
    """Refuse every matte that is made of itself, by the way it comes back."""
    for name in job.mattes:
        way = _way_back(job.mattes, name)
        if way:
            findings.add(
                ("mattes", name),
                f"matte {name} is made of itself",
                seen=" -> ".join((name, *way)),
                expected="mattes that lead to pictures, passes or shapes",
                remedy=f"Take {way[0]} out of matte {name}, or {name} out of matte {way[-2]}."
                if len(way) > 1
                else f"Take {name} out of its own matte.",
            )


def _way_back(mattes: dict[str, Matte], start: str) -> tuple[str, ...]:
    """Return the mattes by which `start` leads back to itself; empty where it doesn't."""
    waiting: list[tuple[str, ...]] = [(each,) for each in _parts(mattes, start)]
    seen: set[str] = set()
    while waiting:
        way = waiting.pop(0)
        if way[-1] == start:
            return way
        if way[-1] not in seen:
            seen.add(way[-1])
            waiting += [(*way, each) for each in _parts(mattes, way[-1])]
    return ()


def _parts(mattes: dict[str, Matte], name: str) -> tuple[str, ...]:
    return mattes[name].matte_names if name in mattes else ()
