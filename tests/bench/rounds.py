"""Rows of a table run in turn, so that whatever else happens on the machine falls on all alike."""

import random
import time
from collections.abc import Callable, Mapping

from bench.machine_use import Watch, cpu_s, verdict

Rows = Mapping[str, Callable[[], object]]
Times = dict[str, list[float]]
"""Processor time of each run, ms, by row; children that ended are in it."""


def measure(rows: Rows, rounds: int, most: Mapping[str, int] | None = None) -> Times:
    """Run all rows once, then `rounds` times in changing order; print who else used the machine.

    `most` are the rounds of rows that take long.
    """
    times: Times = {name: [] for name in rows}
    for run in rows.values():
        run()
    watch, before, order = Watch(), cpu_s(), random.Random(20261125)  # noqa: S311  # no secret
    begun = time.monotonic()
    for turn in range(rounds):
        due = [name for name in rows if turn < (most or {}).get(name, rounds)]
        for name in order.sample(due, len(due)):
            start = cpu_s()
            rows[name]()
            times[name].append(1000 * (cpu_s() - start))
    own = cpu_s() - before
    others, cores = watch.others(own), own / (time.monotonic() - begun)
    print(f"{cores:.2f} cores used by this, {verdict(others)}")
    return times
