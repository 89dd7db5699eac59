"""What a job says of takes: takes that are light, each of one pass, and frames that some lack."""

from collections import Counter
from collections.abc import Sequence

from glimsum_jobs.findings import Findings
from glimsum_jobs.problems import Problem, Rank
from glimsum_jobs.shot import ShotJob


def check_takes(job: ShotJob, findings: Findings) -> None:
    """Find takes that are no light, that share a name with a pass, or belong to two lights."""
    times = Counter(take for takes in job.takes.values() for take in takes.of)
    for name, takes in job.takes.items():
        if name in job.passes:
            findings.add(
                ("takes", name),
                f"there is a pass and there are takes called {name}",
                seen=f"passes.{name} and takes.{name}",
                expected="a name of their own, so that a step can mean one of them",
                remedy=f"Call the first take {name}_a, say, and list it under of.",
            )
        for place, take in enumerate(takes.of):
            path = ("takes", name, "of", place)
            use = job.passes[take].use
            if use is not None:
                findings.add(
                    path,
                    f"pass {take} is no take of a light",
                    seen=f"use: {use}",
                    expected="a lamp pass",
                    remedy="Leave it out: all files of a dark or an ambient are averaged anyway.",
                )
            if times[take] > 1:
                findings.add(
                    path,
                    f"pass {take} is a take of {times[take]} lights",
                    seen=", ".join(n for n, each in job.takes.items() if take in each.of),
                    expected="one",
                    remedy="List it once, or give the pass a second name.",
                )
        by_itself = [step.label for step in job.steps if set(step.names) & set(takes.of)]
        if by_itself:
            findings.add(
                ("takes", name),
                f"a take of {name} is also laid on by itself",
                seen=", ".join(by_itself),
                expected=f"steps that name {name}",
                remedy="Nothing to do if that is meant.",
                rank=Rank.REMARK,
            )


def spare_takes(
    job: ShotJob, problems: Sequence[Problem]
) -> tuple[list[Problem], dict[str, tuple[int, ...]]]:
    """Let a frame live that lacks the file of one take while another take has it.

    Parameters
    ----------
    job : ShotJob
        The shot.
    problems : sequence of Problem
        Of the check.

    Returns
    -------
    problems : list of Problem
        Those of spared frames are remarks now.
    lacking : dict of pass to tuple of int
        Frames on which a take is left out.
    """
    stopped: dict[str, set[int]] = {}
    for problem in problems:
        if problem.rank is Rank.STOPS_FRAME and problem.place.frame is not None:
            stopped.setdefault(problem.place.pass_name or "", set()).add(problem.place.frame)
    lacking: dict[str, tuple[int, ...]] = {}
    for takes in job.takes.values():
        for take in takes.of:
            others = [stopped.get(other, set()) for other in takes.of if other != take]
            if take in stopped and not _needed_by_itself(job, take):
                spared = {f for f in stopped[take] if not all(f in other for other in others)}
                lacking |= {take: tuple(sorted(spared))} if spared else {}
    return [_softened(job, problem, lacking) for problem in problems], lacking


def _needed_by_itself(job: ShotJob, name: str) -> bool:
    """Return whether anything but its takes asks for a pass on every frame."""
    return name == job.reference_pass or any(
        name in step.names or name in job.passes_behind(step) for step in job.steps
    )


def _softened(job: ShotJob, problem: Problem, lacking: dict[str, tuple[int, ...]]) -> Problem:
    name, frame = problem.place.pass_name or "", problem.place.frame
    if problem.rank is not Rank.STOPS_FRAME or frame not in lacking.get(name, ()):
        return problem
    of = next(light for light, takes in job.takes.items() if name in takes.of)
    return problem.model_copy(
        update={
            "rank": Rank.REMARK,
            "what": f"{problem.what}; take {name} is left out of {of} on this frame",
            "remedy": f"{problem.remedy} The other takes make the light.".strip(),
        }
    )
