"""The invented site, written once, and one headless browser for every test that opens a page."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.dashboards.invented_site import write_site

CHROMIUM = Path("/usr/bin/chromium")
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@pytest.fixture(scope="session")
def site_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("pages") / "site"
    write_site(folder)
    return folder


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    if not CHROMIUM.exists():
        pytest.skip(f"no browser at {CHROMIUM}: pages are not opened")
    sync_api = pytest.importorskip(
        "playwright.sync_api", reason="playwright is not installed: pages are not opened"
    )
    with sync_api.sync_playwright() as play:
        browser = play.chromium.launch(executable_path=str(CHROMIUM), args=FLAGS)
        yield browser
        browser.close()
