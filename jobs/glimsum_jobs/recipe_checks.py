"""What a recipe says that can't be meant: no light, fades that lead nowhere, biased operators."""

from itertools import pairwise

from glimsum_jobs.findings import Findings
from glimsum_jobs.frame_ranges import runs_of
from glimsum_jobs.problems import Rank
from glimsum_jobs.recipe import Step
from glimsum_jobs.schema_problems import Path
from glimsum_jobs.shot import ShotJob


def check_recipe(job: ShotJob, findings: Findings) -> None:
    """Find steps that lay on what is no light, fades that lead nowhere, operators that bias."""
    if not job.steps:
        findings.add(
            ("passes",),
            "there is nothing to combine",
            seen="no lamp pass besides the reference and the silhouettes",
            expected="at least one lamp pass",
            remedy="Add a pass, or a recipe that names one.",
        )
    elif job.recipe is None:
        added = {name for step in job.steps for name in job.passes_in(step)}
        left_out = [name for name in job.lamp_passes if name not in added]
        findings.add(
            (),
            "the job has no recipe: its lamp passes are added at 0 stops",
            seen=", ".join(step.label for step in job.steps)
            + (f"; left out: {', '.join(left_out)}" if left_out else ""),
            expected="what you want added",
            remedy="Write a recipe to choose passes, gains and tints.",
            rank=Rank.REMARK,
        )
    for index, step in enumerate(job.recipe or ()):
        _check_light(job, index, step, findings)
        _check_fade(job, index, findings)
        if step.operator in ("lighten", "darken"):
            findings.add(
                ("recipe", index, "operator"),
                f"{step.operator} takes the one side of the noise: what is even grows "
                f"{'lighter' if step.operator == 'lighten' else 'darker'}",
                seen=step.operator,
                expected="plus, for light added to light",
                remedy="Nothing to do if that is meant.",
                rank=Rank.REMARK,
            )


def _check_light(job: ShotJob, index: int, step: Step, findings: Findings) -> None:
    for field, name in (("pass", step.pass_name), ("less", step.less)):
        if name in job.passes and job.passes[name].use == "dark":
            findings.add(
                ("recipe", index, field),
                f"pass {name} is a dark: it holds no light",
                seen=name,
                expected="a lamp pass or an ambient pass",
                remedy="Leave the step out.",
            )


def _check_fade(job: ShotJob, index: int, findings: Findings) -> None:
    step = job.steps[index]
    if not isinstance(step.stops, tuple):
        return
    path: Path = ("recipe", index, "stops")
    if step.fade == "stops":
        for earlier, later in pairwise(step.stops):
            if "out" in (earlier.value, later.value) and later.frame > earlier.frame + 1:
                findings.add(
                    path,
                    f"a fade in stops can't reach out (frames {earlier.frame} to {later.frame})",
                    seen="fade: stops with value: out",
                    expected="fade: light, or a last value in stops one frame before out",
                    remedy="Write fade: light, or key the frame before the lamp goes out.",
                )
    outside = [
        key.frame for key in step.stops if not job.frames.first <= key.frame <= job.frames.last
    ]
    if outside:
        findings.add(
            path,
            f"{len(outside)} keyframes lie outside the shot",
            seen=f"frames {runs_of(outside)}",
            expected=f"{job.frames.first} to {job.frames.last}",
            remedy="Nothing to do if the fade is meant to begin or end outside.",
            rank=Rank.REMARK,
        )
