"""What is compiled ahead is all that frames call: held against numba's own door to its compiler."""

import json
import os
import subprocess
import sys
from typing import Any

import pytest

from support.service import PYTHONPATH

FRAMES = [1001, 1002, 1003]


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    folder = tmp_path_factory.mktemp("kinds")
    made = subprocess.run(
        [sys.executable, "-m", "support.each_kind_of_frame", str(folder)],
        env=dict(os.environ) | {"PYTHONPATH": PYTHONPATH},
        stdout=subprocess.PIPE,
        check=True,
        text=True,
    )
    found: dict[str, Any] = json.loads(made.stdout)
    return found


def test_frames_of_every_kind_ask_nothing_of_the_compiler(told: dict[str, Any]) -> None:
    assert told["asked"] == []


def test_those_frames_call_every_loop(told: dict[str, Any]) -> None:
    """Or the test before this one would say nothing of a loop that no frame here has."""
    assert told["frames"] == [FRAMES, FRAMES, FRAMES]
    assert told["called"] == told["loops"]
    assert len(told["loops"]) >= 15
