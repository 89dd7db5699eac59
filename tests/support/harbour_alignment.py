"""Three rows for one frame: as filmed, moved by the true drift, and brought back by the project."""

import tempfile
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from glimsum_workers.combine_frame import ShotBench
from glimsum_workers.engine.codes import Image, Picture
from glimsum_workers.engine.combine import combine_step, lay_ground
from support.harbour import LAMPS, HarbourShot
from support.harbour_jobs import harbour_job, harbour_roots, job_frame
from support.harbour_proofs import find_shot, judged
from support.harbour_score import Score, score
from support.run_here import HereRun, run_here

_FOLDER = tempfile.TemporaryDirectory(prefix="glimsum_alignment_")


@dataclass(frozen=True)
class Rows:
    """Scores of one frame against all lamps on."""

    frame: int
    untouched: Score
    true_drift: Score
    ours: Score


@cache
def aligned_run(which: str) -> HereRun:
    """Return the whole run of a harbour job whose lamp passes may have drifted."""
    shot = find_shot(which)
    passes = {name: {"align": "similarity"} for name in LAMPS}
    job = harbour_job(shot, passes=passes)
    out = Path(_FOLDER.name, which)
    out.mkdir()
    return run_here(job, harbour_roots(shot, out))


@cache
def rows(which: str) -> tuple[Rows, ...]:
    """Return the three rows of every frame of a shot."""
    shot, right = find_shot(which), judged(which)
    run = aligned_run(which)
    bench = run.bench()
    told = []
    for frame in shot.frames:
        truth = shot.all_lights(frame)
        ours = bench.combine(job_frame(bench.job, frame), lambda: None)
        told.append(
            Rows(
                frame=frame,
                untouched=score(_as_filmed(right.bench, shot, frame), truth),
                true_drift=right.score_sum(frame),
                ours=score(ours.picture.rgb, truth),
            )
        )
    return tuple(told)


def _as_filmed(bench: ShotBench, shot: HarbourShot, frame: int) -> Image:
    ground = lay_ground(int(shot.facts["height"]), int(shot.facts["width"]))
    for name in shot.lamps(frame):
        light = bench.light.in_working_space(name, job_frame(bench.job, frame), bench.solved)
        combine_step(ground, Picture(light.picture.rgb))
    return ground.rgb
