"""The table of other ways to make the frame: cost, memory, how near they come, what they lack."""

import statistics
import subprocess
import sys
from collections.abc import Mapping, Sequence

from bench.answers import STEPS_OF_EQUALS, Difference, compare, read_rgb
from bench.frame_material import Shot
from bench.frame_rivals import Rival
from bench.rounds import Times

LAUNCH = """
import resource, subprocess, sys
done = subprocess.run(sys.argv[1:], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)
sys.exit(done.returncode)
"""
"""A small process between: a child's peak begins with the peak of the process that starts it."""


def peak_mb_of(rival: Rival) -> float | None:
    """Return the peak memory of a rival in a process of its own, MB; None where there is none."""
    if not rival.command:
        return None
    launch = [sys.executable, "-I", "-S", "-c", LAUNCH, *rival.command]
    done = subprocess.run(launch, capture_output=True, text=True, check=True)
    return int(done.stdout) * 1024 / 1e6


def tell_alternatives(
    rivals: Sequence[Rival], shots: Mapping[str, Shot], times: Times, peaks: Mapping[str, float]
) -> bool:
    """Print the table; return whether those that do equal work made an equal picture.

    Parameters
    ----------
    rivals : sequence of Rival
        They have run; their masters are there.
    shots : mapping of str to Shot
        Ours by `align`; they have been written.
    times : Times
        Of all rivals, and of ours under the names of their `align`.
    peaks : mapping of str to float
        Memory of ours by `align`, MB.
    """
    ours = {align: read_rgb(shot.master) for align, shot in shots.items()}
    head = f"{'':34s}{'CPU ms':>8s}{'min':>8s}{'x ours':>8s}{'peak MB':>9s}"
    print(f"{head}  half steps off ours: 95 %, largest; share > {STEPS_OF_EQUALS}")
    for align in dict.fromkeys(each.peer for each in rivals):
        took = times[align]
        row = f"{f'ours, align: {align}':34s}{statistics.median(took):8.0f}{min(took):8.0f}"
        print(f"{row}{1:8.2f}{peaks[align]:9.0f}")
    sound = True
    for each in rivals:
        took = times[each.name]
        middle = statistics.median(took)
        ratio, peak = middle / statistics.median(times[each.peer]), peak_mb_of(each)
        off = compare(read_rgb(each.made), ours[each.peer], each.ceiling)
        fits, words = judge(each, off)
        sound &= fits
        memory = f"{'?':>9s}" if peak is None else f"{peak:9.0f}"
        print(f"{each.name:34s}{middle:8.0f}{min(took):8.0f}{ratio:8.2f}{memory}  {off} {words}")
        print(f"      beside align: {each.peer}; {each.lacks}")
    return sound


def judge(rival: Rival, off: Difference) -> tuple[bool, str]:
    """Return whether a picture is what the row claims, and the words for it."""
    if not rival.equal:
        return True, "(another picture)"
    if off.beyond <= 1 - rival.equal:
        return True, f"(equal as claimed: {rival.equal:.1%})"
    return False, f"(NOT EQUAL: {rival.equal:.1%} must be)"
