"""The site of the sample runs, opened page by page in headless Chromium from the disk."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from pipeline.review.page_writing import write_pages
from pipeline.store.database import open_to_read

if TYPE_CHECKING:
    from playwright.sync_api import Browser

pytestmark = [pytest.mark.browser, pytest.mark.slow]

QUIET = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@pytest.fixture(scope="module")
def site(judged_store: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("site") / "pages"
    with open_to_read(judged_store) as store:
        index, written = write_pages(store, folder, lambda _what, _more: None)
    assert written > 90
    return index.parent


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as engine:
        opened = engine.chromium.launch(executable_path=shutil.which("chromium"), args=QUIET)
        yield opened
        opened.close()


def pages_of(site: Path) -> list[Path]:
    """Every kind of page: the index, all shifts, and up to three of each other kind."""
    chosen = [site / "index.html", *sorted((site / "shifts").glob("*.html"))]
    for folder in sorted(
        path for path in site.iterdir() if path.is_dir() and path.name not in {"assets", "data"}
    ):
        chosen += sorted(folder.glob("*.html"))[:3]
    return list(dict.fromkeys(chosen))


@pytest.mark.parametrize("width", [700, 1400])
def test_every_kind_of_page_opens_quietly_and_fits(site: Path, browser: Browser, width: int) -> None:
    page = browser.new_page(viewport={"width": width, "height": 900})
    told: list[str] = []
    asked: list[str] = []
    page.on(
        "console", lambda message: told.append(message.text) if message.type in {"error", "warning"} else None
    )
    page.on("pageerror", lambda fault: told.append(str(fault)))
    page.on("request", lambda request: asked.append(request.url))
    for path in pages_of(site):
        page.goto(path.as_uri())
        page.wait_for_load_state("load")
        page.wait_for_timeout(150)
        where = path.relative_to(site).as_posix()
        assert told == [], (where, told)
        assert all(url.startswith(("file://", "data:", "blob:")) for url in asked), (where, asked)
        wider = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        assert wider <= 0, f"{where} is {wider} px wider than the window"
        assert page.locator("h1").count() == 1, where
        asked.clear()
    page.close()


def test_every_link_of_the_site_leads_somewhere(site: Path) -> None:
    missing = set()
    for path in site.rglob("*.html"):
        for link in re.findall(r'(?:href|src)="([^"#?]+)', path.read_text(encoding="utf-8")):
            if link.startswith(("data:", "mailto:")):
                continue
            assert "://" not in link, (path.name, link)
            if not (path.parent / link).resolve().exists():
                missing.add((path.relative_to(site).as_posix(), link))
    assert missing == set()


def test_no_page_is_over_a_megabyte(site: Path) -> None:
    assert {path.name for path in site.rglob("*.html") if path.stat().st_size > 1_000_000} == set()


def test_pages_are_written_again_only_where_something_changed(judged_store: Path, site: Path) -> None:
    with open_to_read(judged_store) as store:
        assert write_pages(store, site, lambda _what, _more: None)[1] == 0
    (site / "runs" / "R-0411.html").unlink()
    with open_to_read(judged_store) as store:
        assert write_pages(store, site, lambda _what, _more: None)[1] == 1
