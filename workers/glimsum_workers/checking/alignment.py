"""The alignment frame of a pass held against the pass: there, whole, and of its size."""

from glimsum_jobs.errors import GlimsumError
from glimsum_jobs.measurements import FoundPass
from glimsum_jobs.paths import parse_root_path
from glimsum_jobs.problems import Place, Problem, Rank
from glimsum_jobs.shot import ShotJob
from glimsum_workers.frames.roots import Roots
from glimsum_workers.frames.sources import open_source


def look_at_alignment(
    job: ShotJob, name: str, passes: dict[str, FoundPass], roots: Roots
) -> list[Problem]:
    """Return what is wrong with the alignment frame of a pass; nothing where it has none."""
    each = job.passes[name]
    told, found = each.alignment, passes.get(name)
    if told is None:
        return []
    place = Place(
        shot=job.shot, pass_name=name, file=told.file, field=f"passes.{name}.alignment_frame"
    )
    try:
        with open_source(roots, parse_root_path(told.file)) as source:
            facts = source.inspect(0)
    except GlimsumError as error:
        return [error.problem(Rank.STOPS_SHOT, **place.model_dump(exclude_none=True))]
    crop = each.crop
    fits = crop is None or (
        crop.x + crop.width <= facts.width and crop.y + crop.height <= facts.height
    )
    width, height = (facts.width, facts.height) if crop is None else (crop.width, crop.height)
    if found is None or (fits and (width, height) == (found.width, found.height)):
        return []
    return [
        Problem(
            rank=Rank.STOPS_SHOT,
            what=f"the alignment frame of pass {name} has another size than the pass",
            place=place,
            seen=f"{facts.width} x {facts.height} pixels",
            expected="the size of the pass, so that it can be cropped alike: "
            f"{found.width} x {found.height} pixels" + ("" if crop is None else " after the crop"),
            remedy="Give the picture as the camera recorded it.",
        )
    ]
