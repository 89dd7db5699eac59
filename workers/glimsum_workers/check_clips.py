"""What a clip says of itself, held against the job: rate, range, curve."""

from glimsum_jobs.problems import Place, Problem, Rank
from glimsum_jobs.shot import ShotJob
from glimsum_workers.frames.facts import Facts


def clip_problems(job: ShotJob, name: str, facts: Facts) -> list[Problem]:
    """Return what a person should know about a pass that is a clip, or is not.

    The range of a clip's codes is never guessed: its tag is a proposal a person confirms.
    """
    each = job.passes[name]
    place = Place(shot=job.shot, pass_name=name, file=each.files)
    problems = [_remark(place, text, "", "") for text in facts.remarks]
    clip = facts.clip
    if clip is None:
        return problems
    if each.range is None:
        proposal = f"The clip's tag says {clip.range}: " if clip.range else "It has no tag: "
        problems.append(
            Problem(
                rank=Rank.STOPS_SHOT,
                what=f"which range do the codes of pass {name} have?",
                place=place,
                seen="no range",
                expected="range: limited or range: full",
                remedy=f"{proposal}write range: {clip.range or 'limited'} if that is so.",
            )
        )
    elif clip.range is not None and clip.range != each.range:
        problems.append(
            _remark(
                place,
                f"the clip's tag and the job differ in the range of pass {name}",
                f"tag {clip.range}, job {each.range}",
                "the same; the job is followed",
            )
        )
    if clip.rate != job.rate_fraction:
        problems.append(
            _remark(
                place,
                f"the clip of pass {name} has another rate than the shot; frames count one for one",
                f"{clip.rate} frames a second",
                f"{job.rate_fraction}",
            )
        )
    return problems


def _remark(place: Place, what: str, seen: str, expected: str) -> Problem:
    return Problem(rank=Rank.REMARK, what=what, place=place, seen=seen, expected=expected)
