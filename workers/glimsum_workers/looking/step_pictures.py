"""A frame step by step: what each step lays on, and the picture so far."""

import math
from dataclasses import dataclass

from glimsum_jobs.recipe import Step
from glimsum_workers.combine_frame import ShotBench
from glimsum_workers.engine.codes import Picture
from glimsum_workers.engine.viewing import DisplayCodes
from glimsum_workers.light.look import Look
from glimsum_workers.steps.on_frame import OnFrame


@dataclass(frozen=True)
class StepPicture:
    """One step of the recipe on one frame.

    Attributes
    ----------
    label : str
        Number, name and values of the step.
    alone : uint8 array, (height, width, 3)
        The step on an empty ground, through the job's view.
    so_far : uint8 array, (height, width, 3)
        The picture with this step and all before it.
    """

    label: str
    alone: DisplayCodes
    so_far: DisplayCodes


def draw_steps(bench: ShotBench, frame: int, width: int) -> list[StepPicture]:
    """Combine one frame and draw every step of it.

    Parameters
    ----------
    bench : ShotBench
        The solved shot.
    frame : int
        Shot frame.
    width : int
        Of the pictures, pixels; a smaller frame is not enlarged.

    Returns
    -------
    list of StepPicture
        In the order of the recipe; the last one is the finished picture.

    Raises
    ------
    GlimsumError
        As `ShotBench.combine`.
    """
    look = Look(bench.job)

    def shown(picture: Picture) -> DisplayCodes:
        return look.of_master(look.in_master(picture.rgb), width)

    ground, made, drawn = bench.ground(), OnFrame(frame), []
    for index, step in enumerate(bench.job.steps, start=1):
        alone = bench.ground()
        if step.operator in ("plus", "over"):
            bench.lay(alone, step, made)
        bench.lay(ground, step, made)
        drawn.append(StepPicture(f"{index} {label_of(step, frame)}", shown(alone), shown(ground)))
    return drawn


def label_of(step: Step, frame: int) -> str:
    """Return a step as one line: name, stops on this frame, tint, matte, operator."""
    gain = step.gain(frame)
    words = [step.label, "out" if gain == 0 else f"{_stops(gain):+.2f} stops"]
    if step.tint_mired:
        words.append(f"{step.tint_mired:+g} mired")
    if step.matte is not None:
        words.append(f"matte {step.matte}")
    return ", ".join([*words, step.operator])


def _stops(gain: float) -> float:
    return math.log2(gain) + 0.0
