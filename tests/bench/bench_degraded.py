"""How much cameras, files and rooms take from registration, each against the clean case.

    PYTHONPATH=jobs:workers:tests OPENBLAS_NUM_THREADS=1 python tests/bench/bench_degraded.py

The same 36 pairs for every fault (`support.degraded`) and every card (`support.cards`), 960 x 540
pixels, in about 7 minutes; ``HD`` takes 1920 x 1080 and ``small`` 480 x 270 pixels, ``each=1`` a
third of the draws, ``many`` six scenes instead of two, ``"only=intra card"`` one row. Wanted:
error at most twice the clean one, nothing above half a pixel trusted, and 95 of 100 errors within
three sigmas. A coder displaces the pictures it codes: rows of cards are followed by one against
what the files show (OpenCV says how far a file's picture lies off the one given), and by the
distance of the two truths.
"""

import math
import sys
import time
from collections.abc import Sequence

from support.alignment_draws import SCENES, Outcome, Size, draws, within
from support.cards import CARDS, at_crf
from support.clutter import Stock
from support.clutter_pairs import forget_scenes, rms
from support.degraded import FAULTS, HOPELESS

SIZES: dict[str, Size] = {"960x540": (540, 960), "HD": (1080, 1920), "small": (270, 480)}
CODED = CARDS | {f"H.264 crf {crf}": at_crf(crf) for crf in (12, 23)}
SHOWN = "  shown "
"""Before the name of a card: against what its files show."""
TWO_SCENES: tuple[tuple[Stock, int], ...] = (("mixed", 221), ("nets", 222))
LIGHTS = ("full", "side", "practicals", "dark", "flash", "fog")


def row(name: str, outcomes: list[Outcome], clean: list[Outcome]) -> str:
    """Return a line of a fault: rms by light, all against clean, and how honest it is."""
    cells = ""
    for light in LIGHTS:
        kept = [o for o in outcomes if o.draw.light == light and o.pair.found.trusted]
        cells += f"{1000 * rms([o.pair.error() for o in kept]):7.1f}" if kept else "      -"
    both = [
        (bad.pair.error(), good.pair.error())
        for bad, good in zip(outcomes, clean, strict=True)
        if bad.pair.found.trusted
    ]
    ratio = rms([b for b, _ in both]) / rms([g for _, g in both]) if both else float("nan")
    worst = 1000 * max([b for b, _ in both], default=float("nan"))
    wrong = sum(o.fails() and o.pair.found.trusted for o in outcomes)
    return (
        f"{name:22s}{cells} {ratio:8.2f} {worst:6.0f} {len(both):4d} of {len(outcomes):2d} "
        f"{wrong:6d} {100 * within(outcomes, 2):6.0f} {100 * within(outcomes, 3):4.0f}"
    )


def displaced(filmed: list[Outcome], shown: list[Outcome]) -> str:
    """Return a line of how far the coder has displaced the two pictures against each other."""
    cells = ""
    for light in LIGHTS:
        apart = [
            math.hypot(b.pair.truth.dx - a.pair.truth.dx, b.pair.truth.dy - a.pair.truth.dy)
            for a, b in zip(filmed, shown, strict=True)
            if a.draw.light == light
        ]
        cells += f"{1000 * rms(apart):7.1f}"
    return f"{'  coder moved':22s}{cells}"


def shoot(
    names: list[str], size: Size, each: int, scenes: Sequence[tuple[Stock, int]] = TWO_SCENES
) -> dict[str, list[Outcome]]:
    """Return the outcomes of faults and cards over all pairs, by name."""
    outcomes: dict[str, list[Outcome]] = {}
    for scene in scenes:
        forget_scenes()
        for draw in draws((scene,), LIGHTS, each=each):
            for name in names:
                if name in CODED:
                    filmed, shown = draw.measure_on_card(CODED[name], size)
                    outcomes.setdefault(name, []).append(filmed)
                    outcomes.setdefault(SHOWN + name, []).append(shown)
                else:
                    outcomes.setdefault(name, []).append(draw.measure_after(FAULTS[name], size))
    return outcomes


def main() -> None:
    """Print the table, and what went wrong by name."""
    words = sys.argv[1:]
    size = next((SIZES[word] for word in words if word in SIZES), SIZES["960x540"])
    each = next((int(word[5:]) for word in words if word.startswith("each=")), 3)
    chosen = [word[5:] for word in words if word.startswith("only=")]
    scenes = SCENES if "many" in words else TWO_SCENES
    start = time.process_time()
    outcomes = shoot(["clean", *chosen] if chosen else [*FAULTS, *CARDS], size, each, scenes)
    print(f"{size[1]} x {size[0]}: rms by light and largest error of trusted draws, mpx\n")
    print(f"{'':22s}" + "".join(f"{light[:6]:>7s}" for light in LIGHTS), end="")
    print(" x clean    max trusted  wrong  % <2s  <3s")
    for name, found in outcomes.items():
        print(row(name, found, outcomes["clean"]))
        if name.startswith(SHOWN):
            print(displaced(outcomes[name.removeprefix(SHOWN)], found))
    for name, found in outcomes.items():
        for o in found:
            if o.pair.found.trusted and (o.fails() or o.pair.in_sigmas() > 3):
                print(f"  {name}: {o.tell()}")
            elif not o.pair.found.trusted and name not in HOPELESS:
                print(f"  {name}: {o.draw.name} not trusted: {o.pair.found.reason}")
    print(f"\n{time.process_time() - start:.0f} s of CPU")


if __name__ == "__main__":
    main()
