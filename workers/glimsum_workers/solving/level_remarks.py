"""What a person should know of the level of a pass: slow changes, colour, roll bars, doubts."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.frame_ranges import runs_of
from glimsum_jobs.measurements import Levels
from glimsum_jobs.problems import Place, Problem, Rank
from glimsum_jobs.shot import ShotJob
from glimsum_workers.engine.level.bars import RollBars
from glimsum_workers.engine.level.colour import Colours
from glimsum_workers.engine.level.slow import find_slow_change
from glimsum_workers.engine.level.solve import Levels as SolvedLevels

TOLD_COLOUR = {"locked": 0.01, "moving": 0.03}
"""Change of red or blue against green, largest over smallest less 1, that is told: a camera that
moves sees other surfaces, and lamps of another colour, as it goes (2 % on rendered passes)."""


@dataclass(frozen=True)
class Heard:
    """What the samples of a pass told besides its gains; frames in order."""

    frames: tuple[int, ...]
    solved: SolvedLevels
    colours: Colours
    bars: RollBars | None
    height_px: int


def tell_level(job: ShotJob, name: str, levels: Levels, heard: Heard) -> list[Problem]:
    """Return remarks on the level of a pass, each with frames, figures and remedy."""
    place = Place(shot=job.shot, pass_name=name)
    return [
        *_doubts(place, levels),
        *_slow(place, heard),
        *_colour(place, heard, TOLD_COLOUR[job.camera], taken_out=bool(levels.colours)),
        *_bars(place, heard),
    ]


def _doubts(place: Place, levels: Levels) -> Iterator[Problem]:
    doubtful = [frame for frame, trusted in levels.trusted.items() if not trusted]
    if doubtful:
        yield _remark(
            place,
            f"the level of pass {place.pass_name} could not be measured on {len(doubtful)} frames",
            seen=f"frames {runs_of(doubtful)}: too dark, or another light",
            expected="light to compare with the other frames",
            remedy="Their level is left as it is; write level: follow if the pass is meant so.",
        )


def _slow(place: Place, heard: Heard) -> Iterator[Problem]:
    slow, kept = heard.solved.slow, heard.solved.slow_is_kept
    for ramp in () if slow is None else slow.ramps:
        first, last = heard.frames[ramp.first], heard.frames[ramp.last]
        yield _remark(
            place,
            f"the lamp of pass {place.pass_name} changes slowly; "
            f"that is {'kept as a fade' if kept else 'taken out'}",
            seen=f"{100 * (2**ramp.stops - 1):+.1f} % ({ramp.stops:+.2f} stops) "
            f"from frame {first} to {last}",
            expected="a lamp that stays as it is",
            remedy=f"If it was not meant: level: {{steady: {heard.frames[0]}}} holds every frame "
            "to one; if it was, add stops with its keyframes there."
            if kept
            else "Let the lamp warm up, look at its battery; a fade that was meant so is stated "
            f"as level: {{steady: {heard.frames[0]}, stops: [...]}}.",
        )


def _colour(place: Place, heard: Heard, told: float, *, taken_out: bool) -> Iterator[Problem]:
    sure = np.isfinite(heard.colours.sigma)
    if np.count_nonzero(sure) < 2:
        return
    frames = np.asarray(heard.frames)[sure]
    for channel, ratio in (("red", heard.colours.red), ("blue", heard.colours.blue)):
        logs = np.log(ratio[sure])
        size, sigma = float(np.ptp(logs)), float(np.median(heard.colours.sigma[sure]))
        if size < max(told, 6 * sigma):
            continue
        yield _remark(
            place,
            f"the colour of pass {place.pass_name} {_manner(frames, logs, sigma)}: {channel} "
            f"against green{'; that is taken out' if taken_out else ''}",
            seen=f"{100 * np.expm1(size):.1f} % between frames {frames[int(logs.argmin())]} "
            f"(least {channel}) and {frames[int(logs.argmax())]} (most)",
            expected=f"the same colour on every frame, to {100 * told:.0f} %",
            remedy="Nothing to do; fix the white balance of the camera next time."
            if taken_out
            else "Fix the white balance of the camera; to take it out, write level: "
            f"{{steady: {frames[0]}, colour: true}}.",
        )


def _manner(frames: NDArray[np.int_], logs: NDArray[np.float64], sigma: float) -> str:
    slow = find_slow_change(frames, logs, np.full(len(logs), sigma))
    return "jumps from frame to frame" if slow is None else "drifts"


def _bars(place: Place, heard: Heard) -> Iterator[Problem]:
    bars = heard.bars
    if bars is None:
        return
    if bars.travel is None:
        travel = "jumping from frame to frame"
    else:
        way = "down" if bars.travel > 0 else "up"
        travel = f"going {way} by {abs(bars.travel):.2f} of a period a frame"
    yield _remark(
        place,
        f"roll bars in pass {place.pass_name}: bands of level that travel",
        seen=f"{100 * bars.amplitude:.1f} % up and down, a period of "
        f"{heard.height_px / bars.bars:.0f} lines ({bars.bars:.1f} over the picture), {travel}",
        expected="the same level in all lines of a frame",
        remedy="Shoot the pass again with whole pulses of the mains: n/100 s at 50 Hz, n/120 s at "
        "60 Hz, or a lamp without ripple. They are not taken out.",
    )


def _remark(place: Place, what: str, *, seen: str, expected: str, remedy: str) -> Problem:
    return Problem(
        rank=Rank.REMARK, what=what, place=place, seen=seen, expected=expected, remedy=remedy
    )
