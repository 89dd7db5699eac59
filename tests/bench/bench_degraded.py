"""How much cameras, files and rooms take from registration, each against the clean case.

    PYTHONPATH=jobs:workers:tests OPENBLAS_NUM_THREADS=1 python tests/bench/bench_degraded.py

The same 36 pairs for every fault (`support.degraded`), 960 x 540 pixels, in about 10 minutes;
``small`` takes 480 x 270, ``each=1`` a third of the draws, ``"only=intra card"`` one fault. Wanted:
error at most twice the clean one, nothing above half a pixel trusted, and 95 of 100 errors within
three sigmas.
"""

import sys
import time

from support.alignment_draws import Outcome, Size, draws, within
from support.clutter import Stock
from support.clutter_pairs import forget_scenes, rms
from support.degraded import CARDS, FAULTS, HOPELESS

EVERY = {**FAULTS, **CARDS}

SIZES: dict[str, Size] = {"960x540": (540, 960), "HD": (1080, 1920), "small": (270, 480)}
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
        f"{name:14s}{cells} {ratio:8.2f} {worst:6.0f} {len(both):4d} of {len(outcomes):2d} "
        f"{wrong:6d} {100 * within(outcomes, 2):6.0f} {100 * within(outcomes, 3):4.0f}"
    )


def main() -> None:
    """Print the table, and what went wrong by name."""
    words = sys.argv[1:]
    size = next((SIZES[word] for word in words if word in SIZES), SIZES["960x540"])
    each = next((int(word[5:]) for word in words if word.startswith("each=")), 3)
    chosen = [word[5:] for word in words if word.startswith("only=")]
    kinds = {name: EVERY[name] for name in ["clean", *chosen]} if chosen else EVERY
    start = time.process_time()
    outcomes: dict[str, list[Outcome]] = {name: [] for name in kinds}
    scenes: tuple[tuple[Stock, int], ...] = (("mixed", 221), ("nets", 222))
    for scene in scenes:
        forget_scenes()
        for draw in draws((scene,), LIGHTS, each=each):
            for name, fault in kinds.items():
                outcomes[name].append(draw.measure_after(fault, size))
    print(f"{size[1]} x {size[0]}: rms by light and largest error of trusted draws, mpx\n")
    print(f"{'':14s}" + "".join(f"{light[:6]:>7s}" for light in LIGHTS), end="")
    print(" x clean    max trusted  wrong  % <2s  <3s")
    for name, found in outcomes.items():
        print(row(name, found, outcomes["clean"]))
    for name, found in outcomes.items():
        for o in found:
            if o.pair.found.trusted and (o.fails() or o.pair.in_sigmas() > 3):
                print(f"  {name}: {o.tell()}")
            elif not o.pair.found.trusted and name not in HOPELESS:
                print(f"  {name}: {o.draw.name} not trusted: {o.pair.found.reason}")
    print(f"\n{time.process_time() - start:.0f} s of CPU")


if __name__ == "__main__":
    main()
