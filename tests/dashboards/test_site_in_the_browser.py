"""The site of the sample runs, opened page by page in headless Chromium from the disk."""

from __future__ import annotations

import csv
import html
import io
import re
from pathlib import Path
from typing import TYPE_CHECKING

import polars as pl
import pypdf
import pytest

from dashboards.fillers.guides import guides_of
from dashboards.fillers.run_book import run_books
from dashboards.mailing import single_file
from dashboards.page_writing import write_pages
from dashboards.records import Guides, Plant
from dashboards.site import Site
from pipeline.record.genealogy_of_store import sheets_of
from pipeline.store.database import open_to_read
from pipeline.store.readings import read_frame
from pipeline.wall.two_layers import insulation_between
from tests.dashboards.opened import ALL_DRAWN
from tests.dashboards.test_pages_in_browser import CLIPPED
from tests.dashboards.test_walk import BELOW_FOOT, BROKEN, LEAKS, LONGEST_PX, OVERLAPS, SAID, WIDTHS

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

pytestmark = [pytest.mark.browser, pytest.mark.slow]


@pytest.fixture(scope="module")
def site(judged_store: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("site") / "pages"
    with open_to_read(judged_store) as store:
        index, written = write_pages(store, folder, lambda _what, _more: None)
    assert written > 90
    return index.parent


def pages_of(site: Path, most: int) -> list[Path]:
    """Every kind of page: the index, all shifts, and up to `most` of each other kind."""
    chosen = [site / "index.html", *sorted((site / "shifts").glob("*.html"))]
    for folder in sorted(
        path for path in site.iterdir() if path.is_dir() and path.name not in {"assets", "data"}
    ):
        chosen += sorted(folder.glob("*.html"))[:most]
    return list(dict.fromkeys(chosen))


@pytest.mark.parametrize("width", [700, 1400])
def test_every_kind_of_page_opens_quietly_and_fits(site: Path, chromium: Browser, width: int) -> None:
    page = chromium.new_page(viewport={"width": width, "height": 900})
    told: list[str] = []
    asked: list[str] = []
    page.on(
        "console", lambda message: told.append(message.text) if message.type in {"error", "warning"} else None
    )
    page.on("pageerror", lambda fault: told.append(str(fault)))
    page.on("request", lambda request: asked.append(request.url))
    # A narrow window is the harder one: more pages of a kind are opened in it.
    for path in pages_of(site, 3 if width == 700 else 1):
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


def test_every_kind_of_page_of_the_sample_runs_stands_at_every_width(site: Path, chromium: Browser) -> None:
    """What the walk over invented pages asks, of pages with as much on them as a day's work puts there."""
    context = chromium.new_context(bypass_csp=True)
    page, wrong = context.new_page(), []
    for path in pages_of(site, 1):
        page.goto(path.as_uri())
        found: dict[str, object] = {}
        for width in WIDTHS:
            page.set_viewport_size({"width": width, "height": 1000})
            found[f"overflow at {width}"] = page.evaluate(CLIPPED)
            found[f"overlap at {width}"] = page.evaluate(OVERLAPS)
            found[f"numbers broken at {width}"] = page.evaluate(BROKEN)
            found[f"scrolls below the foot at {width}"] = page.evaluate(BELOW_FOOT)
        found["length"] = max(page.evaluate("document.documentElement.scrollHeight") - LONGEST_PX, 0)
        found["keys or figures as code has them"] = LEAKS.findall(page.evaluate(SAID))
        wrong += [(path.relative_to(site).as_posix(), what, told) for what, told in found.items() if told]
    context.close()
    assert wrong == []


def unfold(page: Page) -> None:
    """Open every fold, as a reader does before what is in it can be used."""
    page.eval_on_selector_all("details", "all => all.forEach(one => { one.open = true; })")


def saved(page: Page, table: str) -> list[dict[str, str]]:
    """What the button of a table saves as CSV to a reader of mm and m, as rows."""
    unfold(page)
    page.evaluate("document.documentElement.setAttribute('data-units', 'si')")
    with page.expect_download() as waiting:
        page.click(f'[data-csv="{table}"]:not([data-as])')
    text = Path(waiting.value.path()).read_text(encoding="utf-8-sig")
    return list(csv.DictReader(io.StringIO(text)))


def test_what_a_page_saves_is_what_the_store_holds(judged_store: Path, site: Path, chromium: Browser) -> None:
    """Reels of every run of a shift, the faults of a run, the findings of the period: saved, and asked of the store."""
    page = chromium.new_page()
    with open_to_read(judged_store) as store:
        books = {book.run_id: book for book in run_books(store)}
        page.goto((site / "shifts" / "2026-03-03-NIGHT.html").as_uri())
        compared = 0
        for button in page.locator("[data-csv^=reels-]:not([data-as])").all():
            run_id = (button.get_attribute("data-file") or "").removeprefix("reels-").removesuffix(".csv")
            rows = {row["reel"]: row for row in saved(page, button.get_attribute("data-csv") or "")}
            assert rows.keys() == {row["reel_id"] for row in books[run_id].reels}
            for reel in books[run_id].reels:
                row = rows[reel["reel_id"]]
                assert row["standing"] == reel["standing"]
                assert float(row["length_m"]) == pytest.approx(reel["length_m"])
                assert int(row["spark_faults"]) == reel["spark_faults"]
                for name in ("thinnest_wall_mm", "mean_wall_mm"):
                    figure = None if reel[name] is None else pytest.approx(reel[name], rel=1e-5)
                    assert (float(row[name]) if row[name] else None) == figure
                compared += 1
        assert (
            compared
            == sum(len(book.reels) for book in books.values() if book.shift_id == "2026-03-03-NIGHT")
            > 10
        )
        page.goto((site / "runs" / "R-0418.html").as_uri())
        faults = {row["fault"] for row in books["R-0418"].events}
        assert len(saved(page, "faults-of-run")) == len(faults)
        page.goto((site / "nonconformance" / "index.html").as_uri())
        told = {row["finding"]: row for row in saved(page, "findings-of-period")}
        on_file = {row["finding_id"]: row for book in books.values() for row in book.findings}
        assert told.keys() == on_file.keys()
        for name, row in on_file.items():
            assert told[name]["severity"] == row["severity"]
            assert float(told[name]["run_from_m"]) == pytest.approx(row["from_m"], rel=1e-6, abs=0.001)
    page.close()


def test_the_readings_saved_from_the_figure_are_those_of_the_store(
    judged_store: Path, site: Path, chromium: Browser
) -> None:
    """Two metres of wire, zoomed to and saved: every reading of the store, in its place, to a tenth of a micrometre."""
    page = chromium.new_page()
    page.goto((site / "runs" / "R-0412.html").as_uri() + "#m=3600.0-3630.0")
    page.wait_for_function("document.getElementById('wire').dataset.level === 'every'")
    unfold(page)
    with page.expect_download() as waiting:
        page.click("#wire-csv")
    text = Path(waiting.value.path()).read_text(encoding="utf-8-sig")
    rows = [row for row in csv.DictReader(io.StringIO(text)) if row["channel"] == "thinnest_wall_mm"]
    with open_to_read(judged_store) as store:
        book = next(one for one in run_books(store) if one.run_id == "R-0412")
        measured = read_frame(store, book.head["assessment_folder"], "measured")
        # Under a covering the figure shows the worse bound, as it is judged.
        run, line = sheets_of(store, book.head)
        gauge = line.instrument("wall gauge")
        assert gauge is not None
        low, _ = insulation_between(measured, gauge, run.covering)["thinnest_wall_mm"]
        frame = measured.select("wall_at_m", pl.Series("thinnest_wall_mm", low))
    inside = frame.filter((frame["wall_at_m"] >= 3600.0) & (frame["wall_at_m"] <= 3630.0)).drop_nulls()
    assert len(rows) == inside.height > 10
    for row, (at_m, value) in zip(rows, inside.sort("wall_at_m").iter_rows(), strict=True):
        assert float(row["at_m"]) == pytest.approx(at_m, abs=0.002)
        assert float(row["value"]) == pytest.approx(value, abs=1.1e-4)
    page.close()


def test_any_page_by_mail_opens_alone_and_quietly(site: Path, chromium: Browser, tmp_path: Path) -> None:
    """One page of every kind as a single file in an empty folder: no error, and it asks for nothing but itself."""
    kinds = [
        folder
        for folder in sorted(site.iterdir())
        if folder.is_dir() and folder.name not in {"assets", "data"}
    ]
    for path in (site / "index.html", *(sorted(folder.glob("*.html"))[0] for folder in kinds)):
        where = path.relative_to(site).as_posix()
        alone = single_file(Site(site), where, tmp_path / where.replace("/", "-"))
        page = chromium.new_page(bypass_csp=True)  # the page forbids evaluated text, which the wait below is
        told: list[str] = []
        asked: list[str] = []
        page.on(
            "console",
            lambda said, told=told: told.append(said.text) if said.type in {"error", "warning"} else None,
        )
        page.on("pageerror", lambda fault, told=told: told.append(str(fault)))
        page.on("request", lambda request, asked=asked: asked.append(request.url))
        page.goto(alone.as_uri())
        page.wait_for_function(ALL_DRAWN)
        assert told == [], where
        assert [url for url in asked if not url.startswith(("data:", "blob:"))] == [alone.as_uri()], where
        page.close()


def test_a_page_on_paper_holds_its_title_and_explains_its_figures(site: Path, chromium: Browser) -> None:
    """Printed by the browser: what is folded on the screen is open, and nothing is wider than the sheet."""
    page = chromium.new_page(viewport={"width": 718, "height": 1000})  # 190 mm at 96 px an inch
    for where in ("shifts/2026-03-03-NIGHT.html", "capability/index.html", "findings/R-0412-F01.html"):
        page.goto((site / where).as_uri())
        page.emulate_media(media="print")
        wider = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        assert wider <= 0, f"{where} is {wider} px wider than the sheet"
    sheets = pypdf.PdfReader(io.BytesIO(page.pdf(format="Letter"))).pages
    text = " ".join(" ".join(sheet.extract_text() for sheet in sheets).split())
    assert "Finding R-0412-F01" in text
    assert "Limits used on this page" in text
    page.close()


def test_the_guides_lead_to_what_is_on_file(site: Path) -> None:
    """The walks name this store's own findings, reels and runs; on an empty store they fall back on general steps."""
    for guide, needed in {
        "QUALITY": ("../shifts/", "../findings/", "../reels/L1-0419-02"),
        "PROCESS": ("../runs/", "../centring/"),
        "AUDIT": ("../findings/R-0412-F01", "../lots/", "../data-quality/"),
        "APPLICATION": ("../constructions/", "../runs/"),
    }.items():
        text = (site / "guides" / f"{guide}.html").read_text(encoding="utf-8")
        steps = text[text.index("Step by step") : text.index("mind-title")]
        assert all(f'href="{start}' in steps for start in needed), guide
    plant = Plant("P1", "Demo plant", "America/Chicago")
    assert guides_of(plant, [], []) == Guides(plant, stamp=guides_of(plant, [], []).stamp)


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


def test_each_method_is_seen_on_a_page(site: Path) -> None:
    """From the command that writes the pages to what a reader sees: a page of every kind and the method's own words."""
    for page, told in {
        "charts/L1.html": (
            "wall sensors",
            "T\u00b2 of wall sensors by order around the wire",
            "multivariate EWMA",
            "p-chart",
        ),
        "capability/index.html": ("by block bootstrap", "circular block bootstrap"),
        "runs/R-0411.html": (": drift along the run", "least squares"),
        "findings/R-0412-F01.html": ("noise alone would put",),
    }.items():
        text = (site / page).read_text(encoding="utf-8")
        assert [one for one in told if one not in text] == [], page


# One thing told as many; a figure within a longer number, a range or a table cell of its own does not count.
ONE_AS_MANY = re.compile(
    r"(?<![\d.,/:\-\u2013\u202f])\b1 (?:[a-z-]+ )?(?:faults|reels|runs|readings|counts|values|items|findings|signals|"
    r"samples|pairs|lots|pieces|clusters|blocks|stretches|rows|changes|events|charts|times|days|points|gaps|steps)\b"
)


def test_no_page_tells_one_thing_as_many(site: Path) -> None:
    told = set()
    for path in site.rglob("*.html"):
        text = re.sub(r"<(script|style)\b.*?</\1>", " ", path.read_text(encoding="utf-8"), flags=re.S)
        told |= {
            (path.name, one) for one in ONE_AS_MANY.findall(html.unescape(re.sub(r"<[^>]*>", "\n", text)))
        }
    assert told == set()


def test_pages_are_written_again_only_where_something_changed(judged_store: Path, site: Path) -> None:
    with open_to_read(judged_store) as store:
        assert write_pages(store, site, lambda _what, _more: None)[1] == 0
    (site / "runs" / "R-0411.html").unlink()
    with open_to_read(judged_store) as store:
        assert write_pages(store, site, lambda _what, _more: None)[1] == 1


def test_no_page_shows_the_inside_of_a_message(site: Path) -> None:
    """A message that no template told would stand as its code and arguments, in a cell or in what it saves."""
    inside = ("Message(", "slots=(", "Measure(value")
    told = [
        path.relative_to(site).as_posix()
        for path in sorted(site.rglob("*.html"))
        if any(one in path.read_text(encoding="utf-8") for one in inside)
    ]
    assert told == []
