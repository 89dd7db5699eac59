"""The night report in a real browser: trouble on top in words, then what was made."""

import json
import re
import time
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from glimsum_services.store.machines import Machine
from support.api_server import Running
from support.api_work import SHOT
from support.page_pictures import keep_picture

pytestmark = pytest.mark.browser

RUN = "mole_040/v001"


def enter_lines(running: Running, shot: str, frames: list[int], *, hours_ago: float = 0) -> None:
    """Leave lines of finished frames where workers leave them."""
    folder = running.work.out / shot / "v001" / "lines"
    folder.mkdir(exist_ok=True)
    for number, frame in enumerate(frames):
        figures = {"clipped": 0.0012 * (number + 1), "negative": 0.31}
        line: dict[str, Any] = {"stage": "combine", "item": str(frame), "token": number + 3}
        line |= {"worker": "m/1", "host": ("attic", "cellar")[number % 2]}
        line |= {"ended": time.time() - hours_ago * 3600 + number, "seconds": 2.0 + number}
        line["result"] = {"frame": frame, "bytes": 9_000_000, "figures": figures, "remarks": []}
        with (folder / "m-1.jsonl").open("a") as file:
            file.write(json.dumps(line) + "\n")


def work_a_night(running: Running) -> None:
    running.http.post("/shots", json=SHOT)
    knock = {
        "rank": "remark",
        "what": "The camera stood elsewhere in this pass: plan a retake of the pass from the "
        "place of the reference.",
        "place": {"shot": "mole_040", "pass_name": "haze"},
        "seen": "near and far parts displaced differently on 9 of 12 frames",
    }
    running.work.check(RUN)
    claim = running.work.claim(RUN, "solve")  # type: ignore[arg-type]  # by its word
    solved = {"averages": {}, "levels": {}, "problems": [knock], "revision": "0" * 64}
    running.work.ledger.done(claim, solved)
    made = [running.work.combine(RUN) for _ in range(5)]
    enter_lines(running, "mole_040", made)
    for _ in range(3):
        running.work.lose(RUN, "haze.0006.png is cut off: 3 of 9 kB <b>there</b>")
    made = [running.work.combine(RUN) for _ in range(4)]
    enter_lines(running, "mole_040", made)
    remark = {
        "rank": "remark",
        "what": "the level of pass beauty was not measured on this frame",
        "place": {"shot": "mole_040", "pass_name": "beauty", "frame": 1004},
        "seen": "no gain",
        "expected": "a gain",
        "remedy": "If it flickers, submit the shot as a new version.",
    }
    running.work.finish(RUN, [remark])
    refused = {**SHOT, "shot": "mole_050", "output": "out:mole_050"}
    running.http.post("/shots", json=refused)
    running.work.check(
        "mole_050/v001",
        [
            {
                "rank": "stops the shot",
                "what": "the pass has no files",
                "place": {"pass_name": "haze", "file": "plates:haze/haze.%04d.png"},
                "seen": "0 files",
                "expected": "12 files",
                "remedy": "Copy the card again.",
            }
        ],
    )
    running.http.post("/shots", json={**SHOT, "shot": "mole_060", "output": "out:mole_060"})
    running.work.check("mole_060/v001")
    running.work.solve("mole_060/v001")
    enter_lines(running, "mole_060", [running.work.combine("mole_060/v001")])
    machine = {"slots": 4, "queues": ("heavy",), "program": "1", "started": 0.0}
    running.service.machines.hear(Machine(machine="m1", host="attic", **machine))
    running.service.machines.hear(Machine(machine="m2", host="cellar", **machine))
    running.service.client.zadd("glimsum:machines", {"m2": time.time() - 5400})


def test_the_report_tells_trouble_first_then_every_shot(running: Running, page: Page) -> None:
    work_a_night(running)
    page.goto(f"{running.url}/night", wait_until="load")
    first = page.locator("#first > li")
    expect(first).to_have_count(4)
    words = first.all_inner_texts()
    assert [re.split(r":", text)[0] for text in words] == [
        "machines",
        "refused",
        "set aside",
        "retake",
    ]
    assert "cellar fell silent" in words[0]
    assert "mole_050/v001, pass haze: the pass has no files" in words[1]
    assert "seen: 0 files; expected: 12 files" in words[1]
    assert "Copy the card again." in words[1]
    assert "frames 1006 to 1008: haze.0006.png is cut off: 3 of 9 kB <b>there</b>" in words[2]
    assert "glimsum retry mole_040/v001" in words[2]
    keep_picture(page, "night_report")
    expect(page.locator("#totals")).to_have_text(
        "3 versions, 10 of 36 frames made, 3 set aside, 11 left, 1 refused"
    )
    shot = page.locator("article[data-run='mole_040/v001']")
    expect(shot.locator(".state")).to_have_text(
        "done with remarks, 9 of 12 frames made, 3 set aside"
    )
    expect(shot.locator(".matters li.remark")).to_contain_text("the level of pass beauty")
    expect(shot).to_contain_text("Made by attic 5, cellar 4.")
    expect(page.locator("#machines li").first).to_contain_text("attic, 4 slots: at work")
    expect(page.locator("#line")).to_contain_text("From ")


def test_an_empty_night_says_so(running: Running, page: Page) -> None:
    page.goto(f"{running.url}/night?hours=12", wait_until="load")
    expect(page.locator("#first-none")).to_have_text("Nothing needs you.")
    expect(page.locator("#shots-none")).to_be_visible()
    expect(page.locator("#notes-part")).to_be_hidden()
    keep_picture(page, "night_report_empty")


def test_one_shot_alone_and_a_narrow_screen(running: Running, page: Page) -> None:
    work_a_night(running)
    page.set_viewport_size({"width": 360, "height": 740})
    page.goto(f"{running.url}/night?name=mole_040", wait_until="load")
    expect(page.locator("article")).to_have_count(1)
    keep_picture(page, "night_report_narrow")
    assert page.evaluate("document.documentElement.scrollWidth") <= 360


def test_the_call_sheet_leads_to_it(running: Running, page: Page) -> None:
    page.get_by_role("link", name="Night report").click()
    expect(page.locator("h1")).to_have_text("Night report")
    expect(page.locator("#report")).to_be_visible()
