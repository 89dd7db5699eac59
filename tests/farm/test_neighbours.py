"""A shot of clips on two slots: each clip is decoded nearly once over all processes."""

from collections import Counter, defaultdict
from collections.abc import Callable
from pathlib import Path

import pytest
from av.video.frame import VideoFrame

from farm.clip_worker import DECODED, FOLDER
from farm.conftest import wait_until
from glimsum_jobs.ledger import RunState, Stage
from glimsum_services.client import Client
from glimsum_services.connections import open_connections
from support.service import TESTS, program, quick_settings, running_service
from support.small_shots import small_shot
from unit.workers.frames.clip_making import numbered, write_clip

pytestmark = pytest.mark.farm

FRAMES = 240
PASSES = ("key", "fill")
CODED = {"bf": "2", "g": "12", "keyint_min": "12", "sc_threshold": "0", "preset": "fast"}
"""H.264 in groups of 12, two of three frames predicted from both sides: as cameras code."""


def turning(number: int, size: tuple[int, int], pixel_format: str) -> VideoFrame:
    """Make a frame whose number fits its codes: 0 to 199, again and again."""
    return numbered(number % 200, size, pixel_format)


def count_decoded(file: Path) -> dict[str, Counter[int]]:
    """Return how many frames each process decoded, by stage."""
    found: dict[str, Counter[int]] = defaultdict(Counter)
    for line in file.read_text().splitlines():
        stage, _, process, frames = line.split()
        found[stage][int(process)] += int(frames)
    return found


def test_two_slots_decode_a_clip_little_more_than_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, tell: Callable[[str], None]
) -> None:
    # In strict order the same shot decoded 6.5 (measure) and 1.92 (combine) times its frames.
    plates, out = tmp_path / "plates", tmp_path / "out"
    plates.mkdir()
    out.mkdir()
    for name in PASSES:
        write_clip(plates / f"{name}.mp4", FRAMES, options=CODED, make=turning, tags=(1, 1))
    clip = {
        "space": "ocio:itu709_rec709_scene",
        "range": "limited",
        "exposure": {"stops": 0},
        "align": "none",
    }
    passes = {name: {"files": f"plates:{name}.mp4", **clip} for name in PASSES}
    passes["fill"]["level"] = "steady"  # its frames are measured, one an item
    job = small_shot(passes=passes, frames={"first": 1001, "last": 1000 + FRAMES})
    monkeypatch.setenv(FOLDER, str(tmp_path))
    settings = quick_settings(tmp_path, roots={"plates": plates, "out": out})
    worker = program(str(TESTS / "farm" / "clip_worker.py"))

    with running_service(settings, worker=worker) as service, Client(service.url) as client:
        link = open_connections(settings.model_copy(update={"broker": service.broker}))
        [sent] = client.submit([job])

        def has_ended() -> bool:
            record = link.ledger.record(sent.run)
            return record is not None and record.ended is not None

        wait_until(has_ended, 120, "the shot has ended")
        record = link.ledger.record(sent.run)
        link.client.close()

    assert record is not None
    assert record.state in {RunState.DONE, RunState.DONE_WITH_REMARKS}
    assert record.counts[Stage.COMBINE].done == FRAMES
    decoded = count_decoded(tmp_path / DECODED)
    asked = {"measure": FRAMES, "combine": FRAMES * len(PASSES)}
    for stage, frames in asked.items():
        by_process = sorted(decoded[stage].values())
        shares = " and ".join(map(str, by_process))
        tell(f"{stage}: {frames} frames asked for, {shares} decoded by {len(by_process)} slots")
        assert len(by_process) == 2
        assert frames <= sum(by_process) <= 1.15 * frames
