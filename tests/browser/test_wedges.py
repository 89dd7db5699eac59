"""Wedges on the page: they come by themselves, and the sheet is shown with what its cells are."""

import io

import pytest
from PIL import Image
from playwright.sync_api import Page, Route, expect

from glimsum_jobs.ledger import Stage
from support.api_server import Running
from support.api_work import SHOT
from support.page_pictures import keep_picture

pytestmark = pytest.mark.browser

ASKED = {
    "shot": "mole_040",
    "frames": [1001, 1004],
    "varied": [{"name": "haze", "values": [-1, 0, "out"]}],
}
NAMES = ".wedges > ul > li > a"
NEWEST_OF_TWELVE = [f"w{number:03d}" for number in range(12, 2, -1)]


def make(running: Running, run: str) -> None:
    """Do what a worker does, with a picture of our own."""
    claim = running.work.claim(run, Stage.WEDGE)
    shot, _, number = run.partition("/")
    name = f"{shot}_{number}.jpg"
    data = io.BytesIO()
    Image.linear_gradient("L").resize((480, 270)).save(data, "JPEG")
    (running.work.out / shot / "wedges" / number / name).write_bytes(data.getvalue())
    left = {"digest": "d", "sheet": name, "bytes": 1, "seconds": 1.0, "problems": []}
    running.work.ledger.done(claim, left)


def test_a_wedge_comes_by_itself_and_shows_its_sheet(running: Running, page: Page) -> None:
    running.http.post("/shots", json=SHOT)
    line = page.locator(".wedges > ul > li")
    expect(page.locator("article")).to_have_count(1)
    expect(line).to_have_count(0)
    told = running.http.post("/wedges", json=ASKED).json()
    words = "of v001, frames 1001, 1004: haze -1, 0, out: "
    expect(line.locator("span").first).to_have_text(f"{words}waiting")

    make(running, told["run"])
    expect(line.locator("span").first).to_have_text(f"{words}done")
    name = page.get_by_role("link", name="Sheet of wedge w001 of mole_040")
    expect(name).to_have_attribute("aria-expanded", "false")
    name.click()
    expect(page.get_by_alt_text("Sheet of mole_040/w001")).to_be_visible()
    page.wait_for_function("document.querySelector('img.sheet').naturalWidth === 480")
    expect(line.locator("ol li")).to_have_text(
        ["haze -1 stops", "haze 0 stops, as it is", "haze out"]
    )
    keep_picture(page, "wedge")
    name.click()
    expect(page.get_by_alt_text("Sheet of mole_040/w001")).to_be_hidden()


def test_wedges_that_were_there_are_listed_newest_first(running: Running, page: Page) -> None:
    running.http.post("/shots", json=SHOT)
    for _ in range(12):
        running.http.post("/wedges", json=ASKED)

    page.reload()

    expect(page.locator(NAMES)).to_have_text(NEWEST_OF_TWELVE)
    expect(page.locator("#tonight article")).to_have_count(1)


def test_wedges_told_before_the_list_is_there_still_stand_on_top(
    running: Running, page: Page
) -> None:
    running.http.post("/shots", json=SHOT)
    for _ in range(10):
        running.http.post("/wedges", json=ASKED)
    expect(page.locator(NAMES)).to_have_count(10)
    held: list[Route] = []
    let_go = False

    def hold(route: Route) -> None:
        if let_go:
            route.continue_()
        else:
            held.append(route)

    page.route("**/wedges?limit=*", hold)
    page.reload()
    expect(page.locator("article")).to_have_count(1)
    expect(page.locator("#line")).to_contain_text("No machine works")  # the stream is open

    for _ in range(2):
        running.http.post("/wedges", json=ASKED)
    expect(page.locator(NAMES).first).to_have_text("w012")
    let_go = True
    for each in held:
        each.continue_()

    expect(page.locator(NAMES)).to_have_text(NEWEST_OF_TWELVE)


def test_news_of_a_wedge_too_old_to_be_listed_leaves_the_list(running: Running, page: Page) -> None:
    running.http.post("/shots", json=SHOT)
    for _ in range(12):
        running.http.post("/wedges", json=ASKED)
    expect(page.locator(NAMES)).to_have_text(NEWEST_OF_TWELVE)

    make(running, "mole_040/w001")
    make(running, "mole_040/w012")

    newest = page.locator(".wedges > ul > li > span").first
    expect(newest).to_have_text("of v001, frames 1001, 1004: haze -1, 0, out: done")
    expect(page.locator(NAMES)).to_have_text(NEWEST_OF_TWELVE)
