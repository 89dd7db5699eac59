"""The soak in its short form; `python tests/farm/soak.py --long` is the whole proof."""

from collections.abc import Callable
from pathlib import Path

import pytest

from farm import soak
from support.server import server_program

pytestmark = pytest.mark.farm


def test_a_short_bad_night_of_real_pictures_loses_and_changes_nothing(
    tmp_path: Path, tell: Callable[[str], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    server_program()  # skips where there is none
    monkeypatch.setattr(soak, "say", tell)
    monkeypatch.setattr(soak, "OPEN_AT_ONCE", 1)
    goal = soak.Goal(kills=4, between=2, servers=1, supervisors=1, minutes=1)
    night = soak.Soak(tmp_path, goal, (270, 480), slots=2)

    assert night.run()

    assert night.tally.kills > 0
