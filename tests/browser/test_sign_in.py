"""The page asks for a token where the service does, once, and then shows everything live."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect

from glimsum_services.tokens import Scope, Tokens
from support.api_server import Running, running_service
from support.api_work import SHOT
from support.page_pictures import keep_picture
from support.server import running_server

pytestmark = pytest.mark.browser


@pytest.fixture
def guarded(tmp_path: Path) -> Iterator[Running]:
    with (
        running_server() as (_, url),
        running_service(url, tmp_path, host="0.0.0.0") as service,  # noqa: S104  # not bound
    ):
        yield service


def test_a_token_opens_the_call_sheet_and_is_kept_from_scripts(
    browser: Browser, guarded: Running
) -> None:
    _, text = Tokens(guarded.work.out.parent).make("page", list(Scope))
    headers = {"Authorization": f"Bearer {text}"}
    guarded.http.post("/shots", json=SHOT, headers=headers)
    page = browser.new_context().new_page()
    page.goto(guarded.url, wait_until="load")
    field = page.get_by_label("Token of this service")
    expect(field).to_be_focused()
    expect(page.get_by_text("This service asks for a token.")).to_be_visible()
    assert page.get_by_text("mole_040").count() == 0
    keep_picture(page, "sign_in")

    field.fill("0123456789ab.wrong")
    page.get_by_role("button", name="Open", exact=True).click()
    expect(page.get_by_text("this token is not known here")).to_be_visible()
    field.fill(text)
    page.get_by_role("button", name="Open", exact=True).click()
    expect(page.get_by_role("heading", name="mole_040")).to_be_visible()
    expect(field).to_have_count(0)
    assert page.evaluate("document.cookie") == ""

    page.reload(wait_until="load")
    expect(page.get_by_role("heading", name="mole_040")).to_be_visible()
    expect(page.get_by_label("Token of this service")).to_have_count(0)
    guarded.work.check("mole_040/v001")
    guarded.work.solve("mole_040/v001")
    expect(page.get_by_text("combining, 0 of 12 frames")).to_be_visible()
    page.context.close()


def test_the_night_report_asks_for_a_token_too(browser: Browser, guarded: Running) -> None:
    _, text = Tokens(guarded.work.out.parent).make("page", [Scope.READ])
    page = browser.new_context().new_page()
    page.goto(f"{guarded.url}/night", wait_until="load")
    page.get_by_label("Token of this service").fill(text)
    page.get_by_role("button", name="Open", exact=True).click()
    expect(page.locator("#report")).to_be_visible()
    page.context.close()
