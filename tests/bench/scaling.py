"""What a second worker gains, and what the service costs: beside bare processes, turn by turn."""

import shutil
import statistics
import tempfile
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from bench.bare_frames import Made, await_bare, spans_of, start_bare
from bench.machine_use import Watch, cpu_s, verdict
from bench.rates import frames_a_second, gain_kept
from bench.service_run import PARTS, PHASES, ServiceRun, running_floor

FRAMES = {"HD": 16, "4K": 8}
"""For each worker, in each turn."""
GOAL_KEPT, GOAL_COST = 0.95, 0.03


@dataclass
class Turns:
    """What all turns gave, by the number of workers."""

    bare: dict[int, list[list[Made]]] = field(default_factory=lambda: defaultdict(list))
    service: dict[int, list[ServiceRun]] = field(default_factory=lambda: defaultdict(list))
    others: list[float] = field(default_factory=list)
    """Cores used by others, of each run."""


def take_turns(label: str, plates: Path, turns: int) -> Turns:
    """Run bare processes and the service, one and two, again and again; all without drift."""
    found = Turns()
    for _ in range(turns):
        for workers in (1, 2):
            count = FRAMES[label] * workers
            watch, before, out = Watch(), cpu_s(), plates.parent / "bare"
            running = start_bare(plates, out, align="none", count=count, processes=workers)
            found.bare[workers].append(await_bare(running))
            found.others.append(watch.others(cpu_s() - before))
            shutil.rmtree(out)
            with (  # the ledger's file on a disk, as it is where people work
                tempfile.TemporaryDirectory(prefix="glimsum_bench_") as state,
                running_floor(Path(state), plates, slots=workers) as floor,
            ):
                floor.warm_up(workers)
                found.service[workers].append(floor.make("counted", count))
            found.others.append(found.service[workers][-1].others)
            shutil.rmtree(floor.out)
    return found


def tell_scaling(found: Turns) -> bool:
    """Print frames a second and what is kept of the gain; return whether all pixels are equal."""
    worst = max(found.others)
    print(f"\nScaling, align: none, {len(found.bare[1])} turn(s), wall; {verdict(worst)}")
    print(f"{'frames a second':34s}{'1':>8s}{'2':>8s}{'gain':>8s}")
    bare = [[frames_a_second(spans_of(made)) for made in found.bare[each]] for each in (1, 2)]
    ours = [[frames_a_second(run.spans) for run in found.service[each]] for each in (1, 2)]
    for name, rates in (("bare processes of the engine", bare), ("slots of the service", ours)):
        one, two = (statistics.median(each) for each in rates)
        print(f"{name:34s}{one:8.2f}{two:8.2f}{two / one:8.2f}")
    each_turn = zip(zip(*ours, strict=True), zip(*bare, strict=True), strict=True)
    kept = statistics.median(gain_kept(mine, theirs) for mine, theirs in each_turn)
    print(f"kept of the gain: {kept:.2f} (goal {GOAL_KEPT:.2f} or more)")
    digests = {digest for runs in found.service.values() for run in runs for digest in run.digests}
    for turn in found.bare.values():
        digests |= {digest for made in turn for each in made for digest in each.digests}
    print(f"pixels of all of these: {'equal' if len(digests) == 1 else 'NOT EQUAL'}")
    return len(digests) == 1


def tell_cost(found: Turns, drift_ms: float) -> None:
    """Print where the service's processor time goes; `drift_ms` is a frame's with drift."""
    runs, alone = found.service[1], [each for made in found.bare[1] for each in made]
    frame = 1000 * statistics.median(statistics.mean(each.cpu[1:]) for each in alone)
    print(f"\nService with one slot, {runs[0].frames} frames, align: none; CPU ms a frame")
    print(f"{'':42s}{'before':>9s}{'frames':>9s}{'finish':>9s}")
    sums = dict.fromkeys(PHASES, 0.0)
    for part, words in PARTS.items():
        spent = {phase: _middle(runs, phase, part) for phase in PHASES}
        sums = {phase: sums[phase] + spent[phase] for phase in PHASES}
        print(f"{words:42s}" + "".join(f"{spent[phase]:9.1f}" for phase in PHASES))
    print(f"{'all':42s}" + "".join(f"{sums[phase]:9.1f}" for phase in PHASES))
    print(f"{'engine and writer alone, preview included':42s}{'':9s}{frame:9.1f}")
    around = sum(_middle(runs, "combine", part) for part in PARTS if part != "slots")
    slots = _middle(runs, "combine", "slots") - frame
    cost = around + slots
    print(f"Service cost of a frame: {around:.1f} ms around the slots, {slots:+.1f} in them: "
          f"{cost / frame:+.1%} of it\n  (goal {GOAL_COST:.0%} at 4K; of a frame with drift "
          f"{cost / drift_ms:+.1%})")  # fmt: skip
    print(f"  around alone {around / frame:.1%}; with check, digests read again, contact sheet and "
          f"manifest {sum(sums.values()) / frame - 1:+.1%}")  # fmt: skip
    print("  in it: HTTP, Celery's messages, claims and beats, ledger and its file, events, one "
          "client that follows,\n  supervisor; not in it: the start, warm-up shots")  # fmt: skip


def _middle(runs: Sequence[ServiceRun], phase: str, part: str) -> float:
    """Return the middle one of what a part spent in a phase, ms a frame."""
    return statistics.median(1000 * run.cpu[phase][part] / run.frames for run in runs)
