"""The figures by which a harbour job is judged: each lamp alone, and the sum, against the truth.

The passes are as drifted as they were filmed: whoever judges moves them by the true drift, with
splines the project does not use, so that nothing but the light is judged.
"""

import tempfile
from collections.abc import Collection
from functools import cache
from pathlib import Path
from typing import Self

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.ledger import Stage
from glimsum_jobs.shot import ShotJob
from glimsum_workers.combine_frame import ShotBench
from glimsum_workers.engine.codes import Picture
from glimsum_workers.engine.combine import combine_step, lay_ground
from support.harbour import (
    HarbourShot,
    full_shot,
    require_full_harbour,
    shipped_harbour,
    true_drift,
)
from support.harbour_jobs import harbour_job, harbour_roots, job_frame
from support.harbour_motion import move_to_reference
from support.harbour_score import Score, blocks_lit_by, pass_gains, score
from support.run_here import HereRun, open_run, run_here, work_through

Light = NDArray[np.float32]

REALLY_LIT = 0.2
"""Share of the light of all lamps that a lamp must give for a block to judge it. Below, a block
of one lamp alone is noise and the codes of an 8-bit file: from 0.02 on, the 95th percentile of
the practicals is 17 % with the true numbers, and says nothing."""

SPLINE = 3
"""Cubic, as the description of the harbour passes has it."""

_FOLDER = tempfile.TemporaryDirectory(prefix="glimsum_proofs_")


def find_shot(which: str) -> HarbourShot:
    """Return ``shipped``, or ``moving`` or ``locked`` of the full set (absent: skips)."""
    return shipped_harbour() if which == "shipped" else full_shot(require_full_harbour(), which)


def lit_frame(shot: HarbourShot) -> int:
    """Return the shot frame on which all lamps burn and each lamp's own truth is known."""
    return 5 if shot.name == "moving" else 2


def kept_level(shot: HarbourShot, name: str) -> float:
    """Return the true lamp gain that a steady level keeps: unknowable from the pictures.

    The moving job keeps the median of the shot, the locked one the frame that was metered.
    """
    if name != "practicals":
        return 1.0
    if shot.name == "locked":
        return shot.flicker(name, 5)
    return float(np.median([shot.flicker(name, frame) for frame in shot.frames]))


class Judged:
    """A job laid out for combining, whose lights are moved by the true drift and kept.

    Parameters
    ----------
    bench : ShotBench
        The solved shot.
    shot : HarbourShot
        Its truth.
    """

    def __init__(self, bench: ShotBench, shot: HarbourShot) -> None:
        self.bench = bench
        self.shot = shot
        self._moved: dict[tuple[str, int], Light] = {}

    def sharing(self, right: Self, *, but: Collection[str]) -> Self:
        """Take the lights of the passes that are the same in `right`."""
        self._moved |= {key: light for key, light in right._moved.items() if key[0] not in but}
        return self

    def light(self, name: str, frame: int) -> Light:
        """Return the light of a pass in the working space, on the reference camera."""
        if (name, frame) not in self._moved:
            number = job_frame(self.bench.job, frame)
            made = self.bench.light.in_working_space(name, number, self.bench.solved)
            drift = true_drift(self.shot, name, frame)
            self._moved[name, frame] = move_to_reference(made.picture.rgb, drift, SPLINE)
        return self._moved[name, frame]

    def sum(self, frame: int) -> Light:
        """Return the lamps of a frame combined by the project's own step."""
        ground = lay_ground(int(self.shot.facts["height"]), int(self.shot.facts["width"]))
        for name in self.shot.lamps(frame):
            combine_step(ground, Picture(self.light(name, frame)))
        return ground.rgb

    def score_alone(self, name: str, frame: int) -> Score:
        """Score one lamp pass against its lamp alone, where that lamp really gives light.

        Blocks brighter than four fifths of what the file of the pass can hold are left out; the
        level that is kept of a flickering lamp is taken as known.
        """
        alone = self.shot.alone(name) * np.float32(kept_level(self.shot, name))
        ceiling = min(2.0, 0.8 / 2.0 ** self.shot.exposure_stops(name))
        where = blocks_lit_by(alone, self.shot.all_lights(lit_frame(self.shot)), REALLY_LIT)
        return score(self.light(name, frame), alone, ceiling=ceiling, where=where)

    def score_sum(self, frame: int) -> Score:
        """Score the sum of a frame against the photograph with all its lamps on."""
        return score(self.sum(frame), self.shot.all_lights(frame))

    def gains(self, frame: int) -> dict[str, float]:
        """Return the gain with which each lamp is in the sum of a frame; 1 is right."""
        alone = {name: self.shot.alone(name) for name in self.shot.lamps(frame)}
        return pass_gains(self.sum(frame), alone)

    def bulb_range(self) -> float:
        """Return how far ours over the truth wanders over the frames without flash, where the
        practicals give half the light."""
        where = blocks_lit_by(self.shot.alone("practicals"), self.shot.all_lights(0), 0.5)
        ratios = [
            score(self.sum(frame), self.shot.all_lights(frame), where=where).mean_ratio
            for frame in self.shot.frames
            if not self.shot.is_lit("flash", frame)
        ]
        return float(np.ptp(ratios))


def broken_by_sum(told: Score) -> list[str]:
    """Return which bounds of a sum a score breaks; none where the sum is right."""
    held = {
        "mean_ratio": 0.985 <= told.mean_ratio <= 1.01,
        "block_median": told.block_median <= 0.005,
        "block_p95": told.block_p95 <= 0.024,
    }
    return [name for name, holds in held.items() if not holds]


GAIN_BOUND = 0.02
"""How far the gain of a lamp in the sum of the moving shot may be from 1 (0.09 stop: 0.06)."""
BULB_RANGE_BOUND = 0.015
"""How far the blocks lit by the practicals may wander (flicker left in: 0.03 and more)."""


def out_folder(name: str) -> Path:
    """Return a folder for output that lives as long as the tests run."""
    folder = Path(_FOLDER.name) / name
    folder.mkdir(exist_ok=True)
    return folder


@cache
def whole_run(which: str) -> HereRun:
    """Run the example job of a shot to its masters, once for all proofs.

    The shipped frames are frames of the moving shot: the first and the lit one are made.
    """
    shot = find_shot(which)
    job = harbour_job(shot)
    only = {job_frame(job, frame) for frame in (0, lit_frame(shot))}
    roots = harbour_roots(shot, out_folder(which))
    return run_here(job, roots, only=only if which == "shipped" else None)


@cache
def judged(which: str) -> Judged:
    """Return the example job of a shot, laid out and ready to be judged."""
    return Judged(whole_run(which).bench(), find_shot(which))


def lay_out(job: ShotJob, shot: HarbourShot, out: Path) -> ShotBench:
    """Check, measure and solve a changed job as workers do, and lay it out."""
    run = work_through(open_run(job, harbour_roots(shot, out)), until=Stage.COMBINE)
    return run.bench()
