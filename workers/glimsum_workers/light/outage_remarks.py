"""Lamps that died in the middle of a pass, told from the light of the combined frames."""

from collections.abc import Iterator, Mapping

import numpy as np

from glimsum_jobs.frame_ranges import runs_of
from glimsum_jobs.measurements import Combined
from glimsum_jobs.problems import Place, Problem, Rank
from glimsum_jobs.shot import ShotJob
from glimsum_workers.engine.codes import Image
from glimsum_workers.engine.level.outage import find_outage

LIGHT = "light:"
"""Begins the name of the figure that holds the mean light of a pass on a frame."""

LIGHT_STRIDE = 8


def mean_light(rgb: Image) -> float:
    """Return the mean light of a picture, from every eighth row and column."""
    return float(rgb[::LIGHT_STRIDE, ::LIGHT_STRIDE].mean(dtype=np.float64))


def tell_outages(job: ShotJob, combined: Mapping[int, Combined]) -> Iterator[Problem]:
    """Return a remark on every pass whose lamp went out on frames on which a step lights it.

    Frames on which every step has the lamp out were not looked at and are no outage.
    """
    series: dict[str, dict[int, float]] = {}
    for frame in sorted(combined):
        for figure, value in combined[frame].figures.items():
            if figure.startswith(LIGHT):
                series.setdefault(figure.removeprefix(LIGHT), {})[frame] = value
    for name, light in series.items():
        frames = list(light)
        found = find_outage(np.array(list(light.values())))
        if found is None:
            continue
        dark = frames[found.first : found.last + 1]
        left = f"{100 * found.left:.1f} % of the light before"
        if found.left > 0:
            left += f" ({np.log2(found.left):+.1f} stops)"
        yield Problem(
            rank=Rank.REMARK,
            what=f"the lamp of {name} went out in mid-pass"
            + (", and burns again later" if found.comes_back else ""),
            place=Place(shot=job.shot, pass_name=name, frame=dark[0]),
            seen=f"frames {runs_of(dark)}: {left}",
            expected="a lamp that burns on every frame on which a step lights it",
            remedy="Shoot these frames of the pass again; if it was meant, write stops with "
            "value: out there.",
        )
