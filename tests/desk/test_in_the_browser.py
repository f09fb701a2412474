"""One shift's work in a real browser under the site's own policy: signing in, reading, deciding, by keyboard."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from pipeline.store.database import open_to_read
from tests.desk.site import PASSWORD, Site

pytestmark = pytest.mark.browser
FINDING = "R-0412-F02"


def signed_in(chromium: Any, site: Site, name: str, told: list[str], **more: Any) -> Any:
    page = chromium.new_context(**more).new_page()
    page.on("console", lambda one: told.append(one.text) if one.type in ("error", "warning") else None)
    page.on("pageerror", lambda fault: told.append(str(fault)))
    page.goto(f"{site.base}/findings/{FINDING}.html")
    assert page.title().startswith("Sign in")
    page.fill("#name", name)
    page.press("#name", "Tab")
    page.keyboard.type(PASSWORD)
    page.keyboard.press("Enter")
    page.wait_for_selector(".signed-name")
    return page


def test_a_finding_is_decided_by_keyboard_and_confirmed_on_file(chromium: Any, site: Site) -> None:
    told: list[str] = []
    site.account("QE-1", "quality engineer")
    page = signed_in(chromium, site, "QE-1", told)
    assert page.locator(".signed-name").inner_text().split("\n")[0] == "QE-1"
    page.focus(".act-one summary")
    page.keyboard.press("Enter")
    assert page.is_checked(f"input[name=subject][value={FINDING}]")
    page.focus("#deed-findings")
    page.keyboard.type("Decide: scrap")
    page.keyboard.press("Tab")
    page.keyboard.type("thin on a slice")
    page.focus(".act-one[open] button[type=submit]")
    page.keyboard.press("Enter")
    page.wait_for_selector(".told")
    assert "Done: decide scrap" in page.inner_text(".told")
    assert told == []  # nothing that the policy refused, on a page with a figure
    page.goto(f"{site.base}/reels/L1-0412-03.html")
    page.wait_for_selector("svg.main-svg, .plot-picture, #content")
    page.goto(f"{site.base}/runs/R-0412.html")
    page.wait_for_load_state("networkidle")
    page.goto(f"{site.base}/")
    page.fill("#search", "L1-0412")
    assert page.locator("#search-found li").count() > 0
    assert told == []
    with open_to_read(site.store) as store:
        (act,) = store.ask("questions/acts_of_subject", subject=FINDING)
    assert (act["person"], act["role"], act["disposition"]) == ("QE-1", "quality engineer", "scrap")
    page.context.close()


@pytest.mark.parametrize("width", [390, 700, 1400])
def test_nothing_is_wider_than_the_page(chromium: Any, read_site: Site, width: int, tmp_path: Path) -> None:
    told: list[str] = []
    if read_site.desk.accounts.of("QM-2") is None:
        read_site.account("QM-2", "quality manager")
    page = signed_in(chromium, read_site, "QM-2", told, viewport={"width": width, "height": 900})
    for where in (f"findings/{FINDING}.html", "reels/L1-0412-03.html", "lots/PVC-7741.html", "no-such-page"):
        page.goto(f"{read_site.base}/{where}")
        for one in page.query_selector_all(".act-one > summary"):
            one.click()
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        small = page.evaluate(
            """() => [...document.querySelectorAll(
                    '.acts button, .acts summary, .acts input:not([type=hidden]), .signed button')]
                .filter(one => one.getBoundingClientRect().height < 19).map(one => one.outerHTML)"""
        )
        assert small == []
        unnamed = page.evaluate(
            """() => [...document.querySelectorAll('.acts input:not([type=hidden]), .acts select, .acts textarea')]
                .filter(one => !one.labels || one.labels.length === 0).map(one => one.outerHTML)"""
        )
        assert unnamed == []
        ids = page.evaluate("() => [...document.querySelectorAll('[id]')].map(one => one.id)")
        assert len(ids) == len(set(ids))
        page.screenshot(path=str(tmp_path / f"{width}-{where.replace('/', '-')}.png"), full_page=False)
    page.context.close()
