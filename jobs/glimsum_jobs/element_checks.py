"""What a job says of its elements that can't be meant, and what is worth a remark."""

from glimsum_jobs.colour import find_space
from glimsum_jobs.elements import Element, gravity_rate
from glimsum_jobs.errors import GlimsumError
from glimsum_jobs.findings import Findings
from glimsum_jobs.problems import Rank
from glimsum_jobs.schema_problems import Path
from glimsum_jobs.shot import ShotJob


def check_elements(job: ShotJob, findings: Findings) -> None:
    """Find elements that can't be shown as told; say how fast falling ones had to be filmed."""
    for name, element in job.elements.items():
        path: Path = ("elements", name)
        try:
            if find_space(element.space).kind == "data":
                findings.add(
                    (*path, "space"),
                    f"element {name} is stated to be data, which is no light",
                    seen=element.space,
                    expected="the space its colour is encoded in",
                    remedy="`glimsum spaces` lists them; weights belong to mattes.",
                )
        except GlimsumError as error:
            findings.add_error((*path, "space"), error)
        _check_frames(job, name, element, findings)
        _check_follow(job, name, element, findings)
        _tell_rate(job, name, element, findings)
        if not any(step.element == name for step in job.steps):
            findings.add(
                path,
                f"no step of the recipe lays element {name}",
                seen="no step with it",
                expected=f"element: {name} in a step",
                remedy="Add a step, or leave the element out.",
                rank=Rank.REMARK,
            )


def _check_frames(job: ShotJob, name: str, element: Element, findings: Findings) -> None:
    shot, path = job.frames, ("elements", name)
    within = f"{shot.first} to {shot.last}"
    if element.frames is not None:
        first, last = element.frames.first, element.frames.last
        if last < shot.first or first > shot.last:
            findings.add(
                (*path, "frames"),
                f"element {name} is on no frame of the shot",
                seen=f"frames {first} to {last}",
                expected=f"frames from {within}",
                remedy="Correct frames, or leave it out: the element is then there throughout.",
            )
            return
    outside = [place.frame for place in element.place if place.frame not in shot.numbers]
    if outside:
        findings.add(
            (*path, "place"),
            f"{len(outside)} places of element {name} lie outside the shot",
            seen=f"frames {', '.join(str(frame) for frame in outside[:8])}",
            expected=within,
            remedy="Nothing to do if it is meant to move in or out.",
            rank=Rank.REMARK,
        )


def _check_follow(job: ShotJob, name: str, element: Element, findings: Findings) -> None:
    path: Path = ("elements", name, "follow")
    if element.follow is None:
        if element.patch is not None:
            findings.add(
                ("elements", name, "patch"),
                f"the patch of element {name} would not be used",
                seen="patch, without follow",
                expected="follow: reference",
                remedy="Write follow: reference, or leave patch out.",
            )
        return
    patch = element.followed
    if patch is None:
        findings.add(
            path,
            f"what shall element {name} follow?",
            seen=f"follow: {element.follow}, without place and patch",
            expected="a place, or a patch of the reference",
            remedy="Add patch: {frame, x, y, radius} about something the reference shows sharply.",
        )
    elif patch.frame not in job.frames.numbers:
        findings.add(
            path,
            f"the patch element {name} follows is told for no frame of the shot",
            seen=f"frame {patch.frame}",
            expected=f"a frame from {job.frames.first} to {job.frames.last}",
            remedy="Name a frame of the shot that shows it.",
        )


def _tell_rate(job: ShotJob, name: str, element: Element, findings: Findings) -> None:
    if element.model_scale is None:
        return
    shown = float(job.rate_fraction) * element.step / element.every
    wanted = gravity_rate(shown, element.model_scale)
    findings.add(
        ("elements", name, "model_scale"),
        f"what moves by its weight at 1:{element.model_scale:g} has to be filmed faster",
        seen=f"{shown:g} of its pictures pass in a second",
        expected=f"filmed at {wanted:.2f} frames a second, {element.model_scale**0.5:.2f} times "
        "that (root of the scale)",
        remedy="Nothing is changed here; film it at that rate, or change every and step.",
        rank=Rank.REMARK,
    )
