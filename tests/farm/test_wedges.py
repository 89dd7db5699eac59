"""A wedge asked for while a night is at work: it comes first, is right, and outlives a death.

Sources: block means by scikit-image; the view by OpenColorIO's built-in configuration.
"""

import io
import json
import os
import signal
import time
from collections.abc import Callable, Iterator
from hashlib import sha256
from typing import Any

import numpy as np
import OpenEXR
import PyOpenColorIO
import pytest
from numpy.typing import NDArray
from PIL import Image
from skimage.measure import block_reduce

from farm.conftest import wait_until
from farm.real_floor import RealFloor, job, make_plates, real_floor
from glimsum_jobs.colour import DISPLAYS
from glimsum_jobs.ledger import RunState, Stage
from glimsum_jobs.shot import ShotJob

pytestmark = pytest.mark.farm

FRAMES = 60
HEIGHT, WIDTH, SIDE = 540, 960, 4
ocio: Any = PyOpenColorIO

CONFIG = "ocio://studio-config-v4.0.0_aces-v2.0_ocio-v2.5"
GAP_PX, LINE_PX = 12, 24
"""Of a sheet: around each picture, and for a line of words."""
TICKET_S = 30.0


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> Iterator[RealFloor]:
    """A service of two slots; a ticket keeps a slot for as long as by default."""
    folder = tmp_path_factory.mktemp("night")
    plates = make_plates(folder / "plates", FRAMES, HEIGHT, WIDTH)
    roots = {"plates": plates, "out": folder / "out"}
    with real_floor(folder, roots, ticket_s=TICKET_S) as floor:
        yield floor


def at_work(floor: RealFloor, asked: ShotJob) -> str:
    run = floor.submit(asked)
    wait_until(lambda: floor.done(run) >= 2, 60, "frames are made")
    return run


def ask(floor: RealFloor, shot: str, frames: list[int], *values: float) -> dict[str, Any]:
    body = {
        "shot": shot,
        "frames": frames,
        "varied": [{"name": "fill", "values": values}],
        "width": WIDTH // SIDE,
    }
    told: dict[str, Any] = floor.client.ask("POST", "/wedges", json=body)
    return told


def shown(floor: RealFloor, told: dict[str, Any]) -> dict[str, Any]:
    found: dict[str, Any] = floor.client.ask("GET", told["links"]["self"])
    return found


def master(floor: RealFloor, run: str, frame: int) -> NDArray[np.float32]:
    shot, _, version = run.partition("/")
    path = floor.settings.roots["out"] / run / "master" / f"{shot}_{version}.{frame}.exr"
    with OpenEXR.File(str(path), separate_channels=True) as file:
        channels = file.channels()
        return np.stack([channels[name].pixels for name in "RGB"], axis=2).astype(np.float32)


def shrunk_codes(light: NDArray[np.float32]) -> NDArray[np.float64]:
    """Return a master's light shrunk by means of blocks, then through the view, 0 to 255."""
    block: Any = (SIDE, SIDE, 1)  # its stub says int, its documentation a tuple
    small: NDArray[np.float32] = block_reduce(light, block, np.mean).astype(np.float32)  # type: ignore[no-untyped-call]  # no types
    viewing = job(1).viewing
    way = ocio.DisplayViewTransform(
        src="ACEScg", display=DISPLAYS[viewing.display].config_name, view=viewing.view
    )
    config = ocio.Config.CreateFromFile(CONFIG)
    pixels = np.ascontiguousarray(small)
    config.getProcessor(way).getDefaultCPUProcessor().applyRGB(pixels)
    codes: NDArray[np.float64] = np.clip(pixels.astype(np.float64), 0, 1) * 255
    return codes


def cell(sheet: bytes, column: int) -> NDArray[np.uint8]:
    high, wide = HEIGHT // SIDE, WIDTH // SIDE
    with Image.open(io.BytesIO(sheet)) as picture:
        assert picture.format == "JPEG"
        codes = np.asarray(picture)
    top, left = GAP_PX + LINE_PX, GAP_PX + column * (wide + GAP_PX)
    return codes[top : top + high, left : left + wide]


def test_a_wedge_comes_before_the_night_s_next_frame_and_shows_the_master(
    night: RealFloor, tell: Callable[[str], None]
) -> None:
    run = at_work(night, job(FRAMES, shot="first"))

    begun = time.monotonic()
    told = ask(night, "first", [1001], -2, 0, 1)
    wait_until(lambda: "sheet" in shown(night, told)["links"], 60, "the sheet is made")
    seconds = time.monotonic() - begun
    left = FRAMES - night.done(run)
    sheet = night.client.fetch(shown(night, told)["links"]["sheet"])
    night.wait_for_end(run, 300)

    assert left > 0
    assert seconds < TICKET_S / 2  # not once the tickets that both slots hold are over
    codes = shrunk_codes(master(night, run, 1001))
    means = [codes.mean(axis=(0, 1)), cell(sheet, 1).mean(axis=(0, 1))]
    assert np.abs(means[0] - means[1]).max() < 2
    dark = cell(sheet, 0).mean(axis=(0, 1))
    assert (means[1] - dark).min() > 10  # another cell is another picture
    ended = shown(night, told)
    wait_until(lambda: shown(night, told)["state"] == "done", 10, "the wedge has ended")
    folder = night.settings.roots["out"] / "first" / "wedges" / "w001"
    assert sorted(path.name for path in folder.iterdir() if path.name != "wishes.json") == [
        "first_w001.jpg", "first_w001.json", "order.json"]  # fmt: skip
    assert json.loads((folder / "first_w001.json").read_text()) == ended["wedge"]
    tell(f"wedge of 3 cells: sheet after {seconds:.2f} s (made in {ended['seconds']:.2f} s), "
         f"{left} of {FRAMES} frames still to make")  # fmt: skip


def test_wedges_take_one_slot_and_frames_go_on_in_the_other(
    night: RealFloor, tell: Callable[[str], None]
) -> None:
    run = at_work(night, job(FRAMES, shot="second"))
    before = night.done(run)
    wedges = [ask(night, "second", [1001 + n], -1, 0, 1) for n in range(0, 12, 2)]
    ledger, most = night.link.ledger, 0

    def all_made() -> bool:
        nonlocal most
        records = [ledger.record(each["run"]) for each in wedges]
        at_once = sum(r.counts[Stage.WEDGE].working for r in records if r is not None)
        most = max(most, at_once)
        return all(r is not None and r.ended is not None for r in records)

    seconds = wait_until(all_made, 120, "all wedges are made")
    between = night.done(run) - before

    assert most == 1
    assert between > 0
    assert [shown(night, each)["state"] for each in wedges] == ["done"] * len(wedges)
    night.wait_for_end(run, 300)
    tell(f"{len(wedges)} wedges in {seconds:.1f} s, {between} frames made beside them")


def test_a_wedge_waits_until_its_version_is_measured_and_says_so(night: RealFloor) -> None:
    ledger = night.link.ledger
    run = night.submit(job(1, shot="third"))
    told = ask(night, "third", [1001], 0, 1)
    wait_until(
        lambda: ledger.record(told["run"]).ended is not None,  # type: ignore[union-attr]  # it is there
        60,
        "the wedge has ended",
    )

    solved = ledger.items(run, Stage.SOLVE)
    assert [each.item for each in solved if each.result] == ["shot"]
    assert shown(night, told)["state"] == "done"


def test_a_slot_killed_in_the_middle_of_a_wedge_loses_nothing(
    night: RealFloor, tell: Callable[[str], None]
) -> None:
    run = at_work(night, job(FRAMES, shot="fourth"))
    frames = [1001 + n for n in range(20)]
    told = ask(night, "fourth", frames, -1, 0, 1)
    ledger, folder = night.link.ledger, night.settings.roots["out"] / "fourth/wedges/w001"

    def holder() -> str | None:
        [item] = ledger.items(told["run"], Stage.WEDGE)
        return item.worker if item.result is None else None

    wait_until(lambda: holder() is not None, 30, "a slot has the wedge")
    time.sleep(0.5)
    victim = holder()
    assert victim is not None, "the wedge was made before anybody could be killed"
    os.kill(int(victim.rpartition("/")[2]), signal.SIGKILL)
    wait_until(lambda: "sheet" in shown(night, told)["links"], 120, "the sheet is made")

    [item] = ledger.items(told["run"], Stage.WEDGE)
    assert item.tries == 2
    assert item.worker != victim
    assert item.result is not None
    sheet = night.client.fetch(shown(night, told)["links"]["sheet"])
    assert sha256(sheet).hexdigest() == item.result["digest"]
    assert len(sheet) == item.result["bytes"]
    assert not list(folder.glob(".*.part"))
    record = night.wait_for_end(run, 300)
    assert record.state is RunState.DONE
    tell(f"slot killed: {3 * len(frames)} pictures made again in {item.result['seconds']:.1f} s")
