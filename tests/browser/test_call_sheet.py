"""The page in a real browser: a shot from checking to done, live, in words and shapes."""

from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, Route, expect

from support.api_server import Running, running_service
from support.api_work import SHOT
from support.page_pictures import keep_picture
from support.server import running_server

pytestmark = pytest.mark.browser

RUN = "mole_040/v001"


def jpeg() -> bytes:
    import io

    from PIL import Image

    data = io.BytesIO()
    Image.linear_gradient("L").resize((480, 270)).save(data, "JPEG")
    return data.getvalue()


def test_a_shot_goes_from_checking_to_done_before_our_eyes(running: Running, page: Page) -> None:
    expect(page.locator("#tonight .none")).to_be_visible()
    expect(page.locator("#line")).to_contain_text("No machine works")
    keep_picture(page, "empty")

    running.http.post("/shots", json=SHOT)
    shot = page.locator("article")
    expect(shot.locator("h3")).to_have_text("mole_040 v001")
    expect(shot.locator(".state")).to_have_text("checking, 0 of 12 frames")
    expect(page.locator("#tonight article")).to_have_count(1)

    running.work.check(RUN)
    running.work.solve(RUN)
    for _ in range(5):
        running.work.combine(RUN, jpeg())
    expect(shot.locator(".state")).to_have_text("combining, 5 of 12 frames")
    expect(shot.get_by_role("img", name="Frames 1001 to 1012: 5 done")).to_be_visible()
    preview = shot.get_by_alt_text("Frame 1005 of mole_040 v001")
    expect(preview).to_be_visible()
    page.wait_for_function("document.querySelector('img.preview').naturalWidth === 480")
    keep_picture(page, "combining")

    for _ in range(7):
        running.work.combine(RUN, jpeg())
    running.work.finish(RUN)
    expect(shot.locator(".state")).to_have_text("done, 12 of 12 frames")
    expect(page.locator("#done article")).to_have_count(1)
    expect(page.locator("#news")).to_have_text("mole_040 v001: done")


def test_a_frame_set_aside_needs_you_with_its_number_and_reason(
    running: Running, page: Page
) -> None:
    running.http.post("/shots", json=SHOT)
    running.work.check(RUN)
    running.work.solve(RUN)
    running.work.combine(RUN)
    running.work.lose(RUN, "haze.0002.png is cut off: 3 of 9 kB <b>there</b>")
    shot = page.locator("#needs article")
    expect(shot.locator(".aside li")).to_have_text(
        "Frame 1002 was set aside: haze.0002.png is cut off: 3 of 9 kB <b>there</b>"
    )
    expect(shot.get_by_role("img", name="set aside: 1002")).to_be_visible()
    assert page.locator("svg.ruler text.aside").all_text_contents() == ["1002"]
    running.work.lose(RUN, "cut off too")
    expect(shot.get_by_role("img", name="set aside: 1002 to 1003")).to_be_visible()
    keep_picture(page, "needs_you")


def test_problems_of_a_refused_shot_are_told_with_what_to_do(running: Running, page: Page) -> None:
    running.http.post("/shots", json=SHOT)
    problem = {
        "rank": "stops the shot",
        "what": "haze has no files",
        "place": {"pass_name": "haze", "file": "plates:haze/haze.%04d.png"},
        "seen": "0 files",
        "expected": "12 files",
        "remedy": "Copy the card again.",
    }
    running.work.check(RUN, [problem])
    expect(page.locator("#needs .problems li")).to_have_text(
        "stops the shot: haze has no files (file plates:haze/haze.%04d.png, pass haze); "
        "seen: 0 files; expected: 12 files. Copy the card again."
    )


def test_the_page_goes_on_by_itself_when_the_service_was_away(
    browser: Browser, tmp_path: Path
) -> None:
    with running_server() as (_, url):
        with running_service(url, tmp_path) as first:
            opened = browser.new_page()
            opened.goto(first.url, wait_until="load")
            first.http.post("/shots", json=SHOT)
            expect(opened.locator("article .state")).to_contain_text("checking")
            port = int(first.url.rpartition(":")[2])
        expect(opened.locator("#line")).to_contain_text("The line to the service is down")
        with running_service(url, tmp_path, port=port, empty=False) as again:
            again.work.check(RUN)
            again.work.solve(RUN)
            again.work.combine(RUN)
            words = "combining, 1 of 12 frames"
            expect(opened.locator("article .state")).to_have_text(words, timeout=15_000)
            expect(opened.locator("#line")).not_to_contain_text("down")
            opened.close()


def test_a_reload_shows_the_same(running: Running, page: Page) -> None:
    running.http.post("/shots", json=SHOT)
    running.work.check(RUN)
    running.work.solve(RUN)
    running.work.combine(RUN)
    expect(page.locator(".state")).to_have_text("combining, 1 of 12 frames")
    page.reload(wait_until="load")
    expect(page.locator(".state")).to_have_text("combining, 1 of 12 frames")


def test_a_narrow_screen_needs_no_sideways_scrolling(running: Running, page: Page) -> None:
    long = "mole_040_" + "x" * 50
    tree = SHOT | {
        "shot": long,
        "output": f"out:{'deep/' * 12}{long}",
        "frames": {"first": 1001, "last": 2500},
    }
    running.http.post("/shots", json=tree)
    page.set_viewport_size({"width": 360, "height": 740})
    expect(page.locator("article")).to_have_count(1)
    keep_picture(page, "narrow")
    assert page.evaluate("document.documentElement.scrollWidth") <= 360


def test_while_the_list_loads_the_page_says_so_and_nothing_else(
    browser: Browser, running: Running
) -> None:
    held: list[Route] = []
    let_go = False
    opened = browser.new_page()

    def hold(route: Route) -> None:
        if let_go:
            route.continue_()
        else:
            held.append(route)

    opened.route("**/shots?limit=50", hold)
    opened.goto(running.url, wait_until="load")
    expect(opened.locator("#done")).to_contain_text("The list is loading.")
    expect(opened.locator("#done .none")).to_be_hidden()
    keep_picture(opened, "loading")
    let_go = True
    for each in held:
        each.continue_()
    expect(opened.locator("#done .none")).to_have_text("Nothing is done yet.")
    expect(opened.locator("#done .none")).to_be_visible()
    expect(opened.locator("#done .asking")).to_be_hidden()
    opened.close()


def test_earlier_versions_are_reached_from_the_line_of_their_shot(
    running: Running, page: Page
) -> None:
    running.http.post("/shots", json=SHOT)
    running.work.check(RUN)
    running.work.solve(RUN)
    running.work.lose(RUN, "haze.0101.png is cut off")
    changed = SHOT | {"rate": 25}
    assert running.http.post("/shots", json=changed).json()["shots"][0]["version"] == 2
    shot = page.locator("article")
    expect(shot.locator("h3")).to_have_text("mole_040 v002 earlier: v001")

    link = page.get_by_role("link", name="Earlier version v001 of mole_040")
    link.click()
    older = shot.locator(".older")
    expect(older.locator("h4")).to_have_text("mole_040 v001")
    expect(older.locator(".state")).to_have_text("combining, 0 of 12 frames, 1 set aside")
    expect(older.locator(".aside li")).to_contain_text("haze.0101.png is cut off")
    expect(older.get_by_role("link", name="The job of mole_040 v001")).to_be_visible()
    expect(link).to_have_attribute("aria-expanded", "true")
    keep_picture(page, "earlier")
    link.click()
    expect(older).to_be_hidden()
    expect(shot).to_have_count(1)


def test_the_caution_promises_no_check_that_is_not_made(running: Running, page: Page) -> None:
    expect(page.locator("footer")).to_contain_text(
        "can trigger seizures in people with photosensitive epilepsy"
    )
    expect(page.locator("footer")).to_contain_text("an aid, not a certificate")


def luminance(colour: str) -> float:
    """Return the relative luminance of WCAG 2.2 of ``rgb(r, g, b)``."""
    values = [int(part) / 255 for part in colour[4:-1].split(",")]
    linear = [v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in values]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_words_stand_out_from_the_paper(running: Running, page: Page, scheme: str) -> None:
    # WCAG 2.2, success criterion 1.4.3: at least 4.5 to 1.
    page.emulate_media(color_scheme="dark" if scheme == "dark" else "light")
    running.http.post("/shots", json=SHOT)
    running.work.check(RUN)
    running.work.solve(RUN)
    running.work.lose(RUN, "cut off")
    expect(page.locator(".aside li")).to_have_count(1)
    paper = luminance(page.evaluate("getComputedStyle(document.body).backgroundColor"))
    for name in (
        "body",
        "#line",
        ".aside li",
        ".paths",
        ".paths a",
        "h3 .version",
        ".none",
        "footer",
    ):
        script = "name => getComputedStyle(document.querySelector(name)).color"
        ink = luminance(page.evaluate(script, name))
        contrast = (max(ink, paper) + 0.05) / (min(ink, paper) + 0.05)
        assert contrast >= 4.5, f"{name} in {scheme}: {contrast:.2f}"
    keep_picture(page, f"scheme_{scheme}")


def test_everything_is_reached_by_keyboard_with_a_name(running: Running, page: Page) -> None:
    running.http.post("/shots", json=SHOT)
    expect(page.locator("article")).to_have_count(1)
    names = []
    for _ in range(3):
        page.keyboard.press("Tab")
        names.append(page.evaluate("document.activeElement.getAttribute('aria-label')"))
    assert names == ["Night report", "The job of mole_040 v001", "Frame list of mole_040 v001"]


def test_a_changed_version_says_what_was_changed_and_shows_its_frames_alone(
    running: Running, page: Page
) -> None:
    running.http.post("/shots", json=SHOT)
    changes = {"recipe": [{"pass": "beauty", "stops": -0.5}, {"pass": "haze"}]}
    asked = {"first": 1003, "last": 1006}
    assert running.http.post("/shots/mole_040/versions", json=changes, params=asked).is_success

    shot = page.locator("article")
    expect(shot.locator("h3")).to_contain_text("mole_040 v002")
    words = "Changed against v001: beauty -0.5 stops (was 0)."
    expect(shot.locator(".changes").first).to_have_text(words)
    expect(shot.locator(".state")).to_have_text("checking, 0 of 4 frames")
    ruler = shot.locator("svg.ruler")
    expect(ruler).to_have_attribute("aria-label", "Frames 1003 to 1006: 0 done")
