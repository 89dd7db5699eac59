"""A real browser, a service, and its page, which must not complain."""

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, sync_playwright

from support.api_server import Running, running_service
from support.server import running_server

SWITCHES = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-dev-shm-usage",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    if program is None:
        if os.environ.get("CI") == "true":
            pytest.fail("a browser must be there in CI: install chromium")
        pytest.skip("no chromium on this machine")
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=program, headless=True, args=SWITCHES)
        yield started
        started.close()


@pytest.fixture
def running(tmp_path: Path) -> Iterator[Running]:
    with running_server() as (_, url), running_service(url, tmp_path) as service:
        yield service


@pytest.fixture
def page(browser: Browser, running: Running) -> Iterator[Page]:
    context = browser.new_context(viewport={"width": 900, "height": 1100})
    opened = context.new_page()
    complaints: list[str] = []
    opened.on(
        "console", lambda said: complaints.append(said.text) if said.type == "error" else None
    )
    opened.on("pageerror", lambda error: complaints.append(str(error)))
    opened.goto(running.url, wait_until="load")
    yield opened
    context.close()
    assert complaints == []
