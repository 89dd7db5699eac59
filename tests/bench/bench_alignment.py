"""How far registration is off, how often it fails, and whether it knows: run it by hand.

    PYTHONPATH=jobs:workers:tests OPENBLAS_NUM_THREADS=1 python tests/bench/bench_alignment.py

336 pairs: six quays that no setting was chosen on, seven kinds of pass, 0.05 to 8 px, every fourth
turned and grown; 960 x 540 pixels in about 7 minutes, ``HD`` instead if so told. Then the hard
ones, which are judged by honesty alone: hollows painted dark, and corrugated iron that fills the
picture; and soft photographs cut half a pixel apart, in the same light. ``each=3`` takes 3 draws
of a kind and scene instead of 8. Names as printed at failures (``nets:203:flash:203401``) run
those draws alone.
"""

import sys
import time

import numpy as np

from glimsum_workers.engine.registration.prepared import prepare
from glimsum_workers.engine.registration.register import register
from support.alignment_draws import (
    FAILURE_PX,
    LIGHTS,
    SCENES,
    Draw,
    Outcome,
    Size,
    draws,
    read_draw,
    within,
)
from support.clutter_pairs import Set, forget_scenes, rms
from support.photographs import PHOTOS, cut, photograph

SIZES: dict[str, Size] = {"960x540": (540, 960), "HD": (1080, 1920), "small": (270, 480)}
RELIT = ("side", "practicals", "dark", "flash", "fog")
HEAD = "rms    max corner sigma trusted  fail: trusted not    <1s  <2s  <3s   (px, thousandths)"


def measure(chosen: list[Draw], size: Size) -> list[Outcome]:
    """Measure draws, scene after scene."""
    outcomes: list[Outcome] = []
    scene: Set | None = None
    for draw in chosen:
        if draw.scene(size) != scene:
            forget_scenes()
            scene = draw.scene(size)
            print(".", end="", file=sys.stderr, flush=True)
        outcomes.append(draw.measure(size))
    print(file=sys.stderr)
    return outcomes


def row(label: str, outcomes: list[Outcome]) -> str:
    """Return a line: errors of those trusted, failures of both, and the shares within sigmas."""
    kept = [each for each in outcomes if each.pair.found.trusted]
    errors = [1000 * each.pair.error() for each in kept] or [float("nan")]
    corners = [1000 * each.pair.worst_corner() for each in kept] or [float("nan")]
    sigma = np.median([1000 * each.pair.found.sigma_px for each in kept]) if kept else float("nan")
    trusted = sum(each.fails() for each in kept)
    others = sum(each.fails() for each in outcomes) - trusted
    shares = "".join(f"{100 * within(kept, sigmas):5.0f}" for sigmas in (1, 2, 3))
    return (
        f"{label:14s}{rms(errors):6.1f} {max(errors):6.1f} {max(corners):6.1f} {sigma:5.0f} "
        f"{len(kept):3d} of {len(outcomes):3d} {trusted:13d} {others:3d}  {shares}"
    )


def show(title: str, outcomes: list[Outcome]) -> None:
    """Print a table by light, and one by quay where there are several."""
    print(f"\n{title}\n{'':14s}{HEAD}")
    lights = [each for each in LIGHTS if any(o.draw.light == each for o in outcomes)]
    for light in lights:
        print(row(light, [each for each in outcomes if each.draw.light == light]))
    print(row("all", outcomes))
    scenes = list(dict.fromkeys((each.draw.stock, each.draw.seed) for each in outcomes))
    for stock, seed in scenes if len(scenes) > 1 else []:
        mine = [each for each in outcomes if (each.draw.stock, each.draw.seed) == (stock, seed)]
        print(row(f"{stock} {seed}", mine))
    for each in outcomes:
        # What is told with too much confidence comes first to whoever mends it.
        if each.pair.found.trusted and (each.fails() or each.pair.in_sigmas() > 3):
            print("  " + each.tell())


def show_soft() -> None:
    """Print how far photographs through softer and softer lenses stick to whole pixels."""
    print("\nPhotographs half a pixel apart, same light: rms, max (mpx), largest in sigmas")
    for soft_px in (0.0, 1.5, 2.5, 4.0):
        errors, ratios = [], []
        for name in PHOTOS:
            plane = photograph(name, soft_px)
            one = prepare(cut(plane, 0, 0, 1, halved=True))
            for number, (right, down) in enumerate(((1, 1), (0, 1), (5, 3), (-7, 2))):
                other = prepare(cut(plane, right, down, 2 + number, halved=True))
                found = register(one, other, same_light=True)
                error = np.abs([found.motion.dx + right / 2, found.motion.dy + down / 2])
                errors.append(1000 * float(np.hypot(*error)))
                ratios.append(float(error.max() / found.sigma_px))
        told = f"{rms(errors):5.1f} {max(errors):5.1f} {max(ratios):5.1f}"
        print(f"lens of {soft_px / 2:4.2f} px  {told}")


def main() -> None:
    """Print the tables of all draws, or what came of those named."""
    words = sys.argv[1:]
    size = next((SIZES[word] for word in words if word in SIZES), SIZES["960x540"])
    named = [read_draw(word) for word in words if word.count(":") >= 3]
    each = next((int(word[5:]) for word in words if word.startswith("each=")), 8)
    print(f"{size[1]} x {size[0]}, numpy {np.__version__}; a failure is above {FAILURE_PX} px")
    start = time.process_time()
    if named:
        for outcome in measure(named, size):
            print(outcome.tell())
        return
    show("Quays", measure(list(draws(SCENES, each=each)), size))
    grooved = draws((("mixed", 211), ("crates", 212)), RELIT, each=each, grooves=0.6)
    show("Hollows painted dark (hard)", measure(list(grooved), size))
    iron = draws((("iron wall", 213), ("iron wall", 214)), ("full", *RELIT[:3], "fog"), each=each)
    show("Corrugated iron all over (hard)", measure(list(iron), size))
    show_soft()
    print(f"\n{time.process_time() - start:.0f} s of CPU")


if __name__ == "__main__":
    main()
