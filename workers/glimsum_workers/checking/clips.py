"""What a clip says of itself, held against the job: rate, range, curve."""

from typing import Literal

from glimsum_jobs.problems import Place, Problem, Rank
from glimsum_jobs.shot import ShotJob
from glimsum_workers.frames.facts import Facts


def clip_problems(
    job: ShotJob, place: Place, stated: Literal["limited", "full"] | None, facts: Facts
) -> list[Problem]:
    """Return what a person should know about files that may be a clip.

    Parameters
    ----------
    job : ShotJob
        For its rate.
    place : Place
        The pass or matte.
    stated : {"limited", "full"} or None
        The range the job gives. It is never guessed: a clip's tag is a proposal.
    facts : Facts
        What the file says of itself.

    Returns
    -------
    list of Problem
        The question for the range stops the shot, the rest are remarks.
    """
    problems = [_remark(place, text, "", "") for text in facts.remarks]
    clip = facts.clip
    if clip is None:
        return problems
    if stated is None:
        proposal = f"The clip's tag says {clip.range}: " if clip.range else "It has no tag: "
        problems.append(
            Problem(
                rank=Rank.STOPS_SHOT,
                what="which range do the codes of this clip have?",
                place=place,
                seen="no range",
                expected="range: limited or range: full",
                remedy=f"{proposal}write range: {clip.range or 'limited'} if that is so.",
            )
        )
    elif clip.range is not None and clip.range != stated:
        problems.append(
            _remark(
                place,
                "the clip's tag and the job differ in the range of its codes",
                f"tag {clip.range}, job {stated}",
                "the same; the job is followed",
            )
        )
    if clip.rate != job.rate_fraction:
        problems.append(
            _remark(
                place,
                "the clip has another rate than the shot; frames count one for one",
                f"{clip.rate} frames a second",
                f"{job.rate_fraction}",
            )
        )
    return problems


def _remark(place: Place, what: str, seen: str, expected: str) -> Problem:
    return Problem(rank=Rank.REMARK, what=what, place=place, seen=seen, expected=expected)
