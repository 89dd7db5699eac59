"""Registration of the same draws after what cameras, files and rooms do to them.

Truth as in `test_alignment_draws`; the faults and their sources are in `support.degraded`. The
bounds are our own: an error at most twice the clean one, nothing wrong trusted, three sigmas that
hold. ``tests/bench/bench_degraded.py`` prints the table at 960 x 540.
"""

from functools import cache

import pytest

from support.alignment_draws import Draw, Outcome, within
from support.clutter_pairs import rms
from support.degraded import FAULTS, HOPELESS

SIZE = (324, 576)
LIGHTS = ("side", "practicals", "flash", "fog")
COSTLY = {"H.264 crf 23": 4.0}
"""What a strongly compressed clip may cost, times the clean error; sigma still has to hold it."""


@cache
def after(name: str) -> list[Outcome]:
    chosen = [Draw("nets", 222, light, 222_000 + 100 * k) for k, light in enumerate(LIGHTS)]
    chosen += [Draw("nets", 222, light, 222_007 + 100 * k) for k, light in enumerate(LIGHTS)]
    return [each.measure_after(FAULTS[name], SIZE) for each in chosen]


def all_told(outcomes: list[Outcome]) -> str:
    return "\n".join(each.tell() for each in outcomes)


@pytest.mark.parametrize("name", [each for each in FAULTS if each not in HOPELESS])
def test_a_fault_costs_at_most_as_much_again_and_is_not_hidden(name: str) -> None:
    clean, bad = after("clean"), after(name)

    kept = [o for o in bad if o.pair.found.trusted]
    assert len(kept) >= 7, all_told(bad)
    assert [o.tell() for o in kept if o.fails()] == []
    assert within(bad, 3) >= 0.95, all_told(bad)
    usual = rms([o.pair.error() for o in clean])
    assert rms([o.pair.error() for o in kept]) <= COSTLY.get(name, 2.0) * usual, all_told(bad)


@pytest.mark.parametrize("name", HOPELESS)
def test_what_shows_too_little_is_never_trusted_half_a_pixel_off(name: str) -> None:
    outcomes = after(name)

    assert [o.tell() for o in outcomes if o.fails() and o.pair.found.trusted] == []
    assert all(o.pair.found.reason for o in outcomes if not o.pair.found.trusted)


def test_a_flat_pass_is_never_trusted_at_all() -> None:
    assert [o.tell() for o in after("flat") if o.pair.found.trusted] == []
