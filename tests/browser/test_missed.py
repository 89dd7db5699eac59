"""What the page did not hear, or heard in another order, is shown all the same."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from playwright.sync_api import APIResponse, Browser, Page, Route, expect

from browser.test_wedges import ASKED, NAMES, make
from glimsum_services.tokens import Scope, Tokens
from support.api_server import Running, running_service
from support.api_work import SHOT
from support.server import running_server

pytestmark = pytest.mark.browser

RUN = "mole_040/v001"
WAITING = "No machine works now: start \u201cglimsum worker\u201d on one."
STATE = "article[data-shot={}] .state"


def submit_many(running: Running, count: int) -> None:
    jobs = [{**SHOT, "shot": f"s{n:03d}", "output": f"out:s{n:03d}"} for n in range(count)]
    assert running.http.post("/shots", json={"jobs": jobs}, timeout=60).is_success


@contextmanager
def away(running: Running, page: Page) -> Iterator[None]:
    """Cut the page's line, and tell it behind that to ask for everything, as after a gap."""
    watch = running.app.state.watch
    expect(page.locator("#line")).to_have_text(WAITING)
    page.wait_for_timeout(800)  # what happened before has been told
    kept, watch._watchers = watch._watchers, set()
    yield
    page.wait_for_timeout(800)
    watch._watchers = kept
    watch._loop.call_soon_threadsafe(watch._offer, [("", watch._snapshot(None))])


def test_a_shot_of_the_second_page_is_shown_anew_too(running: Running, page: Page) -> None:
    submit_many(running, 52)
    page.reload()
    expect(page.locator("article")).to_have_count(50)
    page.locator("#more").click()
    expect(page.locator("article")).to_have_count(52)

    with away(running, page):
        running.work.check("s000/v001")
        running.work.solve("s000/v001")

    expect(page.locator(STATE.format("s000"))).to_contain_text("combining")
    expect(page.locator("#more")).to_be_hidden()


def test_a_wedge_made_meanwhile_is_shown_as_made(running: Running, page: Page) -> None:
    running.http.post("/shots", json=SHOT)
    running.http.post("/wedges", json=ASKED)
    words = page.locator(".wedges > ul > li > span").first
    expect(words).to_contain_text("waiting")

    with away(running, page):
        make(running, "mole_040/w001")

    expect(words).to_contain_text("done")


def test_a_wedge_told_before_its_shot_is_listed(running: Running, page: Page) -> None:
    running.http.post("/shots", json=SHOT)
    held: list[tuple[Route, APIResponse]] = []
    let_go = False

    def hold(route: Route) -> None:
        if let_go:
            route.continue_()
        else:
            held.append((route, route.fetch()))  # answered now, and that answer is slow

    page.route("**/shots?limit=50", hold)
    page.reload()
    expect(page.locator("#line")).to_have_text(WAITING)
    page.wait_for_timeout(800)
    assert held
    running.http.post("/wedges", json=ASKED)
    page.wait_for_timeout(800)
    let_go = True
    for route, answer in held:
        route.fulfill(response=answer)

    expect(page.locator(NAMES)).to_have_text(["w001"])


def test_a_list_that_failed_is_asked_for_until_it_comes(running: Running, page: Page) -> None:
    running.http.post("/shots", json=SHOT)
    failing = [True] * 3

    def fail(route: Route) -> None:
        if not failing:
            route.continue_()
            return
        failing.pop()
        body = '{"detail": "the ledger gives no answer"}'
        route.fulfill(status=200, content_type="text/plain", body=f"cut off {body}")

    page.route("**/shots?limit=50", fail)
    page.reload()

    expect(page.locator("main.loading")).to_have_count(0, timeout=30_000)
    expect(page.locator("article")).to_have_count(1)
    assert not failing


def test_an_earlier_version_that_is_open_goes_on(running: Running, page: Page) -> None:
    running.http.post("/shots", json=SHOT)
    running.work.check(RUN)
    running.work.solve(RUN)
    running.http.post("/shots", json={**SHOT, "rate": 25})
    page.get_by_role("link", name="Earlier version v001 of mole_040").click()
    state = page.locator(".older .state")
    expect(state).to_contain_text("0 of 12")

    running.work.combine(RUN)

    expect(state).to_contain_text("1 of 12")


def test_a_new_version_does_not_show_the_picture_of_the_one_before(
    running: Running, page: Page
) -> None:
    running.http.post("/shots", json=SHOT)
    running.work.check(RUN)
    running.work.solve(RUN)
    running.work.combine(RUN, b"\xff\xd8\xff\xd9")
    expect(page.locator("article > img.preview")).to_have_attribute(
        "alt", "Frame 1001 of mole_040 v001"
    )

    running.http.post("/shots", json={**SHOT, "rate": 25})

    expect(page.locator("article h3")).to_contain_text("v002")
    expect(page.locator("article > img.preview")).to_be_hidden()


def test_an_answer_older_than_the_token_asks_for_none_again(
    browser: Browser, tmp_path: Path
) -> None:
    with (
        running_server() as (_, url),
        running_service(url, tmp_path, host="0.0.0.0") as guarded,  # noqa: S104  # not bound
    ):
        _, text = Tokens(guarded.work.out.parent).make("page", list(Scope))
        opened = browser.new_context().new_page()
        held: list[tuple[Route, APIResponse]] = []

        def hold(route: Route) -> None:
            if held:
                route.continue_()
            else:
                held.append((route, route.fetch()))

        opened.route("**/workers", hold)
        opened.goto(guarded.url, wait_until="load")
        field = opened.get_by_label("Token of this service")
        field.fill(text)
        opened.get_by_role("button", name="Open", exact=True).click()
        expect(field).to_have_count(0)

        route, answer = held[0]
        route.fulfill(response=answer)

        expect(opened.locator("#line")).to_have_text(WAITING)
        expect(field).to_have_count(0)
        opened.context.close()
