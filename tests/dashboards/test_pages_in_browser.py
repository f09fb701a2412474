"""Every page opened in a headless browser: quiet, self-contained, nothing clipped, usable by key, accessible."""

import zipfile
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest

from dashboards.mailing import single_file
from dashboards.pages.run import write_run_page
from dashboards.pages.shift import write_shift_page
from dashboards.site import Site, write_assets
from tests.dashboards import hostile, invented
from tests.dashboards.invented_site import PAGES
from tests.dashboards.opened import opened

pytestmark = pytest.mark.browser
AXE = Path(__file__).parent / "vendor" / "axe.min.js"

# Elements whose content is wider than they are although they do not scroll: text that a reader cannot see.
CLIPPED = """() => {
  const bad = [];
  document.querySelectorAll('main *, header *, footer *').forEach(e => {
    if (e.closest('svg, .plot-area, .strip, .sr, thead, .bar, .lengthbar, .scale, details:not([open])')) return;
    const s = getComputedStyle(e);
    if (s.display === 'none' || s.display === 'inline') return;
    const hides = s.overflowX !== 'visible' && s.overflowX !== 'auto' && s.overflowX !== 'scroll';
    if (e.scrollWidth > e.clientWidth + 1 && hides) bad.push(e.tagName + ': ' + e.textContent.slice(0, 40));
  });
  if (document.documentElement.scrollWidth > window.innerWidth) bad.push('the page scrolls sideways');
  document.querySelectorAll('main *').forEach(e => {
    if (e.closest('svg, .plot-area, .scroll, .strip, .sr, thead, .scale, details:not([open])')) return;
    const b = e.getBoundingClientRect();
    if (b.width && b.right > window.innerWidth + 1) bad.push('beyond the edge: ' + e.tagName + '.' + e.className);
  });
  return bad;
}"""

AXES = """() => [...document.querySelectorAll('.plot-area')].flatMap(d =>
  Object.entries(d._fullLayout)
  .filter(([k, v]) => /^[xy]axis/.test(k) && v && v.visible && !(v.ticktext && v.ticktext.length))
  .map(([k, v]) => [d.id + ' ' + k, v.title && v.title.text || '']))"""


SIZES = ((1400, "light"), (700, "dark"), (1900, "light"))
ALL_RULES = "{preload: false, runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa']}"
# What depends on width and on light or dark.
LOOK_RULES = "{runOnly: {type: 'rule', values: ['color-contrast', 'target-size']}}"
AUDIT = """async () => {
  const seen = await axe.run({include: [['%s']], exclude: [['.main-svg']]}, %s);
  const told = n => n.html.slice(0, 120) + ' ' + (n.any[0] ? n.any[0].message : '');
  return seen.violations.map(v => v.impact + ' ' + v.id + ': ' + v.nodes.slice(0, 3).map(told).join(' | '));
}"""


@pytest.mark.parametrize("name", PAGES)
def test_a_page_is_quiet_self_contained_unclipped_and_accessible(
    chromium: Any, site_folder: Path, name: str
) -> None:
    """One opening of the page, looked at in three sizes, light and dark, both unit systems.

    The audit is axe-core's rules for WCAG 2.2 A and AA; every impact counts, not only the serious ones. The
    second size runs those of its rules that depend on size and colour. The inside of a figure is left out: it is
    one picture to a screen reader, has a table beside it, and its texts have the colours of the page's.
    """
    with opened(chromium) as one:
        one.go(site_folder / name)
        page, found = one.page, {}
        page.add_script_tag(path=str(AXE))
        # Head and foot are the same on every page: audited once.
        part = "html" if name in {"index.html", "shifts/2026-03-12-2.html"} else "main"
        for width, scheme in SIZES:
            page.set_viewport_size({"width": width, "height": 1000})
            page.emulate_media(color_scheme=scheme)
            page.wait_for_timeout(150)
            found[f"clipped at {width}"] = page.evaluate(CLIPPED)
            page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
            page.wait_for_function("!document.querySelector('[data-folded]')")
            if width < 1900:
                found[f"audit at {width}, {scheme}"] = page.evaluate(
                    AUDIT % (part, ALL_RULES if width == 1400 else LOOK_RULES)
                )
        for system in ("first", "second"):
            axes = page.evaluate(AXES)
            found[f"axes without a unit, {system} system"] = [a for a in axes if ", " not in a[1]]
            page.click('[data-switch="units"]')
        found["console"] = one.said
        found["network"] = [url for url in one.asked if not url.startswith(("file:", "data:", "blob:"))]
        assert {what: told for what, told in found.items() if told} == {}


def test_the_keyboard_reaches_everything_and_shows_where_it_is(chromium: Any, site_folder: Path) -> None:
    with opened(chromium) as one:
        one.go(site_folder / "shifts" / "2026-03-12-2.html")
        page = one.page
        page.keyboard.press("Tab")
        assert page.evaluate("document.activeElement.className") == "skip"
        can = page.evaluate(
            "[...document.querySelectorAll('a[href], button, input, select, summary, [tabindex=\"0\"]')]"
            ".filter(e => e.offsetParent !== null && !e.closest('details:not([open]) > :not(summary)')).length"
        )
        for _ in range(can - 1):
            page.keyboard.press("Tab")
            shown = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
            assert shown == "solid", page.evaluate("document.activeElement.outerHTML.slice(0, 120)")
        page.keyboard.press("Tab")
        assert page.evaluate(
            "document.activeElement === document.body || document.activeElement.className === 'skip'"
        )


def test_units_and_theme_switch_by_key_and_stay_on_the_next_page(chromium: Any, site_folder: Path) -> None:
    with opened(chromium) as one:
        one.go(site_folder / "shifts" / "2026-03-12-2.html")
        page = one.page
        wall = page.locator("#reels-1 tbody tr").nth(2).locator("td").nth(4)
        assert wall.inner_text().startswith("12.48\u00a0mil")
        page.focus('[data-switch="units"]')
        page.keyboard.press("Enter")
        assert wall.inner_text().startswith("0.317\u00a0mm")
        page.focus('[data-switch="theme"]')
        page.keyboard.press("Space")
        page.keyboard.press("Space")
        assert page.get_attribute("html", "data-theme") == "dark"
        one.go(site_folder / "reels" / "R-1043.html")
        assert page.get_attribute("html", "data-theme") == "dark"
        assert page.get_attribute("html", "data-units") == "si"


def view_of(page: Any) -> list[float]:
    return [float(part) for part in page.get_attribute("#wire", "data-view").split()]


def test_the_run_page_zooms_by_key_button_and_address_down_to_every_reading(
    chromium: Any, site_folder: Path
) -> None:
    with opened(chromium) as one:
        one.go(site_folder / "runs" / "L1-0312-2.html")
        page = one.page
        whole = view_of(page)
        page.focus("#wire")
        page.keyboard.press("+")
        page.wait_for_function(
            "before => document.getElementById('wire').dataset.view !== before",
            arg=f"{whole[0]:.1f} {whole[1]:.1f}",
        )
        inner = view_of(page)
        assert inner[1] - inner[0] < 0.4 * (whole[1] - whole[0])
        one.go(site_folder / "runs" / "L1-0312-2.html", "#m=3555.0-3575.0")
        page.wait_for_function("document.getElementById('wire').dataset.level === 'every'")
        assert view_of(page) == [3555.0, 3575.0]
        drawn = page.evaluate("document.getElementById('wire').data[1].x.length")
        # 60,000 readings over 9,912 m are six a metre; the view and its margins hold about 22 m.
        assert 125 <= drawn <= 145
        assert "Every reading is drawn." in page.inner_text("#wire-status")
        assert one.said == []


def test_the_deepest_reading_of_the_run_is_in_the_first_picture_and_in_the_closest(
    chromium: Any, site_folder: Path
) -> None:
    trace = invented.traces()[1]
    deepest = min(v for v in trace.values.tolist() if v == v)
    lowest = "Math.min(...[...document.getElementById('wire').data[1].y].filter(v => v === v && v !== null))"
    with opened(chromium) as one:
        one.go(site_folder / "runs" / "L1-0312-2.html")
        assert abs(one.page.evaluate(lowest) * 0.0254 - deepest) < 1e-5
        one.go(site_folder / "runs" / "L1-0312-2.html", "#m=3540-3590")
        one.page.wait_for_function("document.getElementById('wire').dataset.level === 'every'")
        # Blocks keep a tenth of a micrometre.
        assert abs(one.page.evaluate(lowest) * 0.0254 - deepest) <= 0.5e-4


def test_the_run_is_seen_and_zoomed_before_the_plotting_script_has_come(
    chromium: Any, site_folder: Path
) -> None:
    """The stand-in drawing: every panel, the deepest reading in its place, zoom down to every reading."""
    trace = invented.traces()[1]
    deepest = min(v for v in trace.values.tolist() if v == v) / 0.0254
    with opened(chromium) as one:
        page = one.page
        page.route("**/plotly.min.js*", lambda route: None)  # never answered
        page.goto((site_folder / "runs" / "L1-0312-2.html").resolve().as_uri())
        page.wait_for_selector("#wire[data-seen] svg.picture")
        texts = page.locator("svg.picture text").all_text_contents()
        assert {"Wall, mil", "Diameter, mil", "Line speed, ft/min", "R-1043: held"} <= set(texts)
        assert sum("at least 13 mil" in text for text in texts) == 1
        # The lowest point of the second line of the wall's panel, back from pixels by the panel's own range.
        lowest = page.evaluate("""() => {
          const path = document.querySelectorAll('svg.picture > svg')[1].querySelectorAll('path')[1];
          const ys = [...path.getAttribute('d').matchAll(/ ([\\d.-]+)/g)].map(m => Number(m[1]));
          const high = Number(path.parentNode.getAttribute('height'));
          const range = reelproofFigures.drawn[0].layout.yaxis2.range;
          return range[1] - Math.max(...ys) / high * (range[1] - range[0]);
        }""")
        assert abs(lowest - deepest) < 0.002
        page.evaluate("location.hash = '#m=3555.0-3575.0'")
        page.wait_for_function("document.getElementById('wire').dataset.level === 'every'")
        assert view_of(page) == [3555.0, 3575.0]
        assert "Every reading is drawn." in page.inner_text("#wire-status")
        page.click('[data-switch="units"]')
        assert "Wall, mm" in page.locator("svg.picture text").all_text_contents()
        assert not [url for url in one.asked if "plotly" in url]  # nobody pointed at the figure yet
        box = page.locator("#wire").bounding_box()
        page.mouse.move(box["x"] + 300, box["y"] + 200)
        page.mouse.down()
        page.mouse.move(box["x"] + 600, box["y"] + 200)
        page.mouse.up()
        page.wait_for_function("document.getElementById('wire').dataset.view !== '3555.0 3575.0'")
        inner = view_of(page)
        assert 3555.0 < inner[0] < inner[1] < 3575.0
        assert inner[1] - inner[0] == pytest.approx(20.0 * 300.0 / (box["width"] - 92.0), rel=0.02)
        page.mouse.dblclick(box["x"] + 300, box["y"] + 200)
        page.wait_for_function("document.getElementById('wire').dataset.level === 'picture'")
        assert view_of(page)[0] == 0.0
        assert not page.evaluate("!!window.Plotly")
        assert one.said == []


def test_a_table_is_saved_in_the_units_the_reader_chose_and_without_a_formula(
    chromium: Any, site_folder: Path
) -> None:
    with opened(chromium) as one:
        one.go(site_folder / "shifts" / "2026-03-12-2.html")
        heads = {}
        for units in ("us", "si"):
            one.page.evaluate(f"document.documentElement.setAttribute('data-units', '{units}')")
            with one.page.expect_download() as waiting:
                one.page.click('[data-csv="reels-1"]:not([data-as])')
            lines = Path(waiting.value.path()).read_text(encoding="utf-8-sig").splitlines()
            heads[units] = lines[0]
            assert lines[3].startswith("R-1043,held,")
            # 2500 m and 0.3171 mm by the exact foot and inch, to seven digits
            assert (",8202.1,12.48425," if units == "us" else ",2500,0.3171,") in lines[3]
        ends = (
            "length_{0},thinnest_wall_{1},mean_wall_{1},spark_faults,unmonitored_{0}".format(*pair)
            for pair in (("ft", "mil"), ("m", "mm"))
        )
        assert list(heads.values()) == [f"reel,standing,reasons,{end}" for end in ends]
        quoted = one.page.evaluate("['=1+1', '-12.5', '@x', 'a,b', 'say \"x\"'].map(reelproofCell)")
        assert quoted == ["'=1+1", "-12.5", "'@x", '"a,b"', '"say ""x"""']


def test_a_table_is_saved_as_a_workbook_with_typed_cells_and_a_frozen_head(
    chromium: Any, site_folder: Path
) -> None:
    """Element names by ECMA-376 part 1, clauses 18.3.1.66 (pane) and 18.3.1.4 (c), from memory."""
    with opened(chromium) as one:
        one.go(site_folder / "shifts" / "2026-03-12-2.html")
        with one.page.expect_download() as waiting:
            one.page.click('[data-csv="reels-1"][data-as]')
        assert waiting.value.suggested_filename.endswith(".xlsx")
        book = zipfile.ZipFile(waiting.value.path())
        main = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
        sheet = ElementTree.fromstring(book.read("xl/worksheets/sheet1.xml"))
        pane = sheet.find(f".//{main}pane")
        assert pane is not None and (pane.get("ySplit"), pane.get("state")) == ("1", "frozen")
        texts = [
            "".join(found.itertext()) for found in ElementTree.fromstring(book.read("xl/sharedStrings.xml"))
        ]
        rows = [
            [
                texts[int(cell.findtext(f"{main}v", ""))]
                if cell.get("t") == "s"
                else cell.findtext(f"{main}v")
                for cell in row
            ]
            for row in sheet.iter(f"{main}row")
        ]
        assert rows[0][3:6] == ["Length, ft", "Thinnest wall, mil", "Mean wall, mil"]
        assert rows[3][:2] == ["R-1043", "held"] and rows[3][3:5] == ["8202.1", "12.48425"]
        assert one.said == []


def test_a_count_of_findings_leads_to_just_those_rows(chromium: Any, site_folder: Path) -> None:
    with opened(chromium) as one:
        one.go(site_folder / "nonconformance" / "index.html")
        page, rows = one.page, one.page.locator("#findings-of-period tbody tr:visible")
        everything, compared = rows.count(), 0
        for link in page.locator('a[href^="#find="]').all():
            if not link.inner_text().isdigit():
                continue  # a length or an age leads to the rows it is of; how many is not its text
            link.click()
            page.wait_for_function("document.activeElement.id === 'narrow'")
            assert rows.count() == int(link.inner_text()), link.get_attribute("href")
            page.evaluate("document.activeElement.blur()")
            compared += int(link.inner_text()) < everything
        assert compared > 3


def test_search_finds_by_reel_lot_date_and_product_and_each_hit_opens(
    chromium: Any, site_folder: Path
) -> None:
    with opened(chromium) as one:
        page = one.page
        for asked, kind, wanted in (
            ("reel R-1043", "reels", "R-1043"),
            ("lot pvc-2291", "lots", "PVC-2291"),
            ("shift 2026-03-12-2", "shifts", "2026-03-12-2"),
            ("run L1-0312-2 thhn", "runs", "L1-0312-2"),
        ):
            one.go(site_folder / "index.html")
            page.fill("#search", asked)
            named = page.locator(f'#search-found a[href*="{wanted}"]').first
            named.click(timeout=5000)
            page.wait_for_url(f"**/{kind}/*{wanted}*", timeout=10_000)
            assert page.locator("h1").count() == 1, asked
        assert one.said == []


def test_search_finds_a_reel_by_lot_and_date(chromium: Any, site_folder: Path) -> None:
    with opened(chromium) as one:
        one.go(site_folder / "index.html")
        one.page.fill("#search", "pvc-2291 2026-03-12 held")
        assert one.page.locator("#search-found li").count() == 2
        assert one.page.inner_text("#search-told") == "2 fit"
        one.page.fill("#search", "pvc-2291")
        assert one.page.locator("#search-found li").count() > 1
        assert one.page.locator("#search-found a").first.inner_text() == "lot PVC-2291"
        one.page.fill("#search", "no such thing")
        assert one.page.inner_text("#search-told") == "Nothing on file fits."


def test_a_page_by_mail_is_one_file_that_still_zooms(
    chromium: Any, site_folder: Path, tmp_path: Path
) -> None:
    mailed = single_file(Site(site_folder), "runs/L1-0312-2.html", tmp_path / "run.html")
    with opened(chromium) as one:
        one.go(mailed, "#m=3555.0-3575.0")
        one.page.wait_for_function("document.getElementById('wire').dataset.level === 'every'")
        assert one.said == []
        assert [url for url in one.asked if not url.startswith(("data:", "blob:"))] == [mailed.as_uri()]
    small = single_file(Site(site_folder), "runs/L1-0312-2.html", tmp_path / "small.html", most_bytes=0)
    with opened(chromium) as one:
        one.go(small, "#m=3555.0-3575.0")
        one.page.wait_for_function("document.getElementById('wire').dataset.level === 'middle'")
        assert "this file does not carry every reading" in one.page.inner_text("#wire-status")
        assert one.said == []


def test_hostile_ids_and_texts_run_nothing(chromium: Any, tmp_path: Path) -> None:
    site = Site(tmp_path)
    write_assets(site)
    shift, run = write_shift_page(hostile.shift(), site), write_run_page(hostile.run(), site)[0]
    for written in (shift, run):
        with opened(chromium) as one:
            one.go(tmp_path / written.address)
            one.page.mouse.move(700, 500)
            assert one.page.evaluate("window.hacked") is None
            assert one.said == []
            assert one.page.evaluate(CLIPPED) == []


def test_readings_missing_beside_the_page_are_told_not_hidden(chromium: Any, tmp_path: Path) -> None:
    folder = tmp_path / "site"
    write_assets(Site(folder))
    write_run_page(invented.run(), Site(folder))
    for block in (folder / "data" / "L1-0312-2").glob("*.js"):
        block.unlink()
    with opened(chromium) as one:
        one.page.goto((folder / "runs" / "L1-0312-2.html").as_uri() + "#m=3555.0-3575.0")
        one.page.wait_for_function(
            "document.getElementById('wire-status').textContent.includes('could not be opened')"
        )
