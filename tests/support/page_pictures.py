"""Pictures of pages, for people to look at: kept where GLIMSUM_PICTURES says."""

import os
from pathlib import Path

from playwright.sync_api import Page


def keep_picture(page: Page, name: str) -> None:
    folder = os.environ.get("GLIMSUM_PICTURES")
    if folder:
        page.screenshot(path=str(Path(folder) / f"{name}.png"), full_page=True)
