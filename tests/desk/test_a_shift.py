"""The whole work of a shift in a real browser, by keyboard alone: read, hold, decide, confirm, cut, ship, print.

No step clicks, and no step opens an address: every page is reached by a link that Tab reaches.
"""

from __future__ import annotations

import io
import json
import re
from typing import Any

import pypdf
import pytest

from pipeline.cli.app import run
from pipeline.record.standing import standing_of
from pipeline.store.database import open_to_read
from tests.desk.site import PASSWORD, Site, read_whole

pytestmark = pytest.mark.browser
REEL, FINDING = "L1-0412-03", "R-0412-F02"
MOST_TABS = 900


def tab_to(page: Any, css: str) -> None:
    """Press Tab until what is wanted has the focus, which must be seen."""
    for _ in range(MOST_TABS):
        page.keyboard.press("Tab")
        if page.evaluate("css => !!document.activeElement && document.activeElement.matches(css)", css):
            assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") == "solid", css
            return
    raise AssertionError(f"Tab does not reach {css} on {page.url}")


def follow(page: Any, css: str) -> None:
    """Go where a link or button leads."""
    tab_to(page, css)
    with page.expect_navigation():
        page.keyboard.press("Enter")


def fill(page: Any, css: str, text: str) -> None:
    tab_to(page, css)
    page.keyboard.press("Control+A")
    page.keyboard.insert_text(text)


def choose(page: Any, css: str, value: str) -> None:
    tab_to(page, css)
    for _ in range(20):
        if page.evaluate("document.activeElement.value") == value:
            return
        page.keyboard.press("ArrowDown")
    raise AssertionError(f"{css} offers no {value}")


def unfold(page: Any, words: str) -> None:
    """Open the form of an act."""
    for _ in range(MOST_TABS):
        tab_to(page, ".act-one > summary")
        if words in page.evaluate("document.activeElement.textContent"):
            page.keyboard.press("Enter")
            return
    raise AssertionError(f"no act '{words}' on {page.url}")


def sign_in(page: Any, site: Site, name: str) -> None:
    fill(page, "#name", name)
    fill(page, "#password", PASSWORD)
    with page.expect_navigation():
        page.keyboard.press("Enter")
    assert name in page.inner_text(".signed-name")


def put(page: Any) -> str:
    """Send the form that is open; what the next page tells."""
    with page.expect_navigation():
        tab_to(page, ".act-one[open] button[type=submit], .acts button[type=submit]")
        page.keyboard.press("Enter")
    assert page.query_selector(".told"), page.inner_text("main")[:400]
    return str(page.inner_text(".told"))


def test_a_shift_by_keyboard_alone(chromium: Any, site: Site) -> None:
    said: list[str] = []
    read_whole(site)
    site.account("QE-1", "quality engineer")
    site.account("QM-1", "quality manager")
    page = chromium.new_context().new_page()
    page.set_default_timeout(180_000)  # other programs may want the processor
    page.on("console", lambda one: said.append(one.text) if one.type in ("error", "warning") else None)
    page.on("pageerror", lambda fault: said.append(str(fault)))
    page.goto(site.base)
    sign_in(page, site, "QE-1")
    # Read: what waits, the finding, its reel.
    follow(page, f"#waits a[href='/findings/{FINDING}.html']")
    assert "does not conform" in page.inner_text("main")
    # Decide, and complete what is done.
    unfold(page, "Decide on this finding")
    choose(page, "#deed-findings", "decide scrap")
    fill(page, "#reason-findings", "thin on a slice")
    assert "Done: decide scrap" in put(page)
    unfold(page, "Decide on this finding")
    choose(page, "#deed-findings", "complete")
    fill(page, "#reason-findings", "seen at the rewinder")
    fill(page, "#evidence-findings", "cut record 12")
    assert "Done: complete" in put(page)
    # Hold, and end the hold.
    follow(page, f"main a[href*='{REEL}.html']")
    unfold(page, "Hold this reel")
    fill(page, "#reason-hold", "scuffed by the clamp")
    number = re.search(r"Hold (\d+)", put(page))
    assert number is not None
    unfold(page, f"Lift hold {number[1]}")
    fill(page, f"#reason-lift-{number[1]}", "looked at, no mark")
    assert "is lifted" in put(page)
    # Release, which waits for another person.
    unfold(page, "Decide on the reel")
    choose(page, "#deed-reel", "decide release")
    fill(page, "#reason-reel", "the rest conforms")
    put(page)
    follow(page, ".signed form button")
    sign_in(page, site, "QM-1")
    assert "Decisions to confirm" in page.inner_text("#waits")
    follow(page, f"#waits a[href='/reels/{REEL}.html']")
    unfold(page, "Decide on the reel")
    choose(page, "#deed-reel", "confirm")
    fill(page, "#reason-reel", "agreed")
    put(page)
    # Cut by the plan.
    follow(page, f"a[href='/cutting/{REEL}']")
    fill(page, "#reason-accept", "as planned")
    assert "cutting plan" in put(page)
    tab_to(page, "form[action='/acts/cut'] button[type=submit]")
    with page.expect_navigation():
        page.keyboard.press("Enter")
    assert "On file:" in page.inner_text(".told"), page.inner_text("main")[:400]
    # Ship what may leave.
    follow(page, f"main a[href='/reels/{REEL}.html']")
    with open_to_read(site.store) as store:
        free = [one.length_id for one in standing_of(store, REEL).lengths if one.may_leave]
    assert free
    unfold(page, "Ship")
    tab_to(page, f"input[name=item][value='{free[0]}']")
    if not page.is_checked(f"input[name=item][value='{free[0]}']"):
        page.keyboard.press("Space")
    fill(page, "#shipment", "S-1")
    fill(page, "#ship-to", "a customer")
    assert f"Shipped in S-1 to a customer: {free[0]}." in put(page)
    # Print the morning sheet: what it says, without what is of the site alone.
    follow(page, ".masthead nav a[href$='index.html']")
    follow(page, "a[href*='mornings/']")
    assert "Morning sheet" in page.title()
    sheets = pypdf.PdfReader(io.BytesIO(page.pdf(format="Letter"))).pages
    printed = " ".join(" ".join(sheet.extract_text() for sheet in sheets).split())
    assert "Morning sheet" in printed and "R-0412-F01" in printed  # still open
    assert "Sign out" not in printed
    assert said == []
    page.context.close()
    with open_to_read(site.store) as store:
        kinds = [
            (row["kind"], json.loads(row["record"])["record"]["person"])
            for row in store.ask("questions/journal")
            if json.loads(row["record"])["record"].get("person")
        ]
    assert kinds == [
        ("disposition", "QE-1"),
        ("disposition", "QE-1"),
        ("hold", "QE-1"),
        ("lift", "QE-1"),
        ("disposition", "QE-1"),
        ("disposition", "QM-1"),
        ("cutting plan", "QM-1"),
        ("cut", "QM-1"),
        ("shipment", "QM-1"),
    ]
    assert run(["verify", "--store", str(site.store)]) == 0
