"""A walk over every kind of page at three widths, light and dark: nothing overflows, overlaps, fades or runs on.

The lengths and the contrast of 4.5 to 1 for text (WCAG 2.2, 1.4.3, by axe-core) are what a page is held to; the longest
page of 6,000 px at 1400 px wide is the house's own measure (chosen here), from which tables of rows are free.
"""

import re
from pathlib import Path
from typing import Any

import pytest

from tests.dashboards.invented_site import PAGES
from tests.dashboards.opened import opened
from tests.dashboards.test_pages_in_browser import AXE, CLIPPED

pytestmark = pytest.mark.browser
WIDTHS = (390, 700, 1400)
LONGEST_PX = 6_000
TARGET_PX = 44

# Words that lie over other words: the rectangles of two texts that share more than 2 px one way and 4 the other.
OVERLAPS = """() => {
  const found = [], rects = [], skip = 'svg, .plot-area, .strip, .sr, script, .tall, noscript, .ruler, .map';
  const clipped = e => e && (getComputedStyle(e).clipPath !== 'none' || clipped(e.parentElement));
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const text = walker.currentNode, host = text.parentElement;
    if (!text.textContent.trim() || !host || host.closest(skip)) continue;
    if (!host.checkVisibility({ visibilityProperty: true }) || clipped(host)) continue;
    const range = document.createRange();
    range.selectNodeContents(text);
    for (const r of range.getClientRects())
      if (r.width > 1 && r.height > 1) rects.push([r, text.textContent.trim().slice(0, 30)]);
  }
  rects.sort((a, b) => a[0].top - b[0].top);
  for (let i = 0; i < rects.length; i += 1)
    for (let k = i + 1; k < rects.length && rects[k][0].top < rects[i][0].bottom - 4; k += 1) {
      const a = rects[i][0], b = rects[k][0];
      const wide = Math.min(a.right, b.right) - Math.max(a.left, b.left);
      if (wide > 2 && Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 4)
        found.push(rects[i][1] + ' | ' + rects[k][1]);
    }
  return found.slice(0, 5);
}"""
# A figure and its unit on two lines.
BROKEN = """() => [...document.querySelectorAll('main .q:not(.qi), .tally-n')]
  .filter(e => e.checkVisibility() && !e.closest('.sr'))
  .filter(e => new Set([...e.getClientRects()].map(r => Math.round(r.bottom / 8))).size > 1)
  .map(e => e.textContent.slice(0, 30)).slice(0, 5)"""
CONTRAST = """async () => {
  const seen = await axe.run({include: [['main']], exclude: [['.main-svg']]},
    {runOnly: {type: 'rule', values: ['color-contrast']}});
  return seen.violations.flatMap(v => v.nodes.slice(0, 3).map(n => n.html.slice(0, 90)));
}"""
# Where the page ends, below which nothing may scroll: words for screen readers in a scrolling table once did.
BELOW_FOOT = """() => { const below = document.documentElement.scrollHeight
    - document.querySelector('footer').getBoundingClientRect().bottom - window.scrollY;
  return below > 2 ? Math.round(below) : 0; }"""
# What a page says, folded or not, without log columns, hashes and commands; each table cell by itself.
SAID = """() => { const page = document.querySelector('main').cloneNode(true);
  page.querySelectorAll('code, pre, script, style, svg, .plot-area, .sr, [data-l="Note"]').forEach(e => e.remove());
  page.querySelectorAll('td, th, p, li, dt, dd, summary, caption, .us, .si').forEach(e => e.append('\\n'));
  return page.textContent; }"""
# Keys of code and of sheets that no quotes mark as such, figures as a computer writes them, and wrong plurals.
LEAKS = re.compile(
    r"(?<![\w.'\"-])[a-z]+(?:_[a-z0-9]+)+(?![\w'\"-])|\b\d\S*e[-+]?\d{2}\b|\d\.\d{9,}"
    r"|\b(?:NaN|None|nan|undefined)\b"
    r"|(?<![\d.,])1 (?:reels|findings|faults|charts|readings|results|runs|signals|cautions|reasons)\b"
    r"|\b(?:RAMP|SETTLE|STEADY)\b"
)
PRESSED = "main a, main button, main summary, main input, main select, nav a, .switch"
SENTENCES = "p.sub, .sub, .where, .reasons, p.lead-sentence, .quality-notes"
SMALL = """([pressed, sentences, least]) => [...document.querySelectorAll(pressed)]
  .filter(e => e.checkVisibility() && !e.closest(sentences))
  .filter(e => { const b = e.getBoundingClientRect(); return b.width > 0 && b.height < least - 0.5; })
  .map(e => e.outerHTML.slice(0, 90) + ' ' + Math.round(e.getBoundingClientRect().height))"""


@pytest.mark.parametrize("name", PAGES)
def test_a_page_stands_at_every_width_in_light_and_dark(chromium: Any, site_folder: Path, name: str) -> None:
    with opened(chromium) as one:
        page, found = one.page, {}
        page.goto((site_folder / name).resolve().as_uri())
        page.add_script_tag(path=str(AXE))
        for width in WIDTHS:
            page.set_viewport_size({"width": width, "height": 1000})
            for scheme in ("light", "dark"):
                page.emulate_media(color_scheme=scheme)
                if width == 1400:
                    found[f"contrast, {scheme}"] = page.evaluate(CONTRAST)
            found[f"overflow at {width}"] = page.evaluate(CLIPPED)
            found[f"overlap at {width}"] = page.evaluate(OVERLAPS)
            found[f"numbers broken at {width}"] = page.evaluate(BROKEN)
            found[f"scrolls below the foot at {width}"] = page.evaluate(BELOW_FOOT)
        found["keys or figures as code has them"] = LEAKS.findall(page.evaluate(SAID))
        length = page.evaluate("document.documentElement.scrollHeight")
        assert {what: told for what, told in found.items() if told} == {}
        assert length <= LONGEST_PX


def test_the_walk_sees_an_overlap_and_an_overflow(chromium: Any, site_folder: Path) -> None:
    with opened(chromium, 390) as one:
        one.page.goto((site_folder / "guides/index.html").resolve().as_uri())
        one.page.add_style_tag(content="h2 { margin-bottom: -2rem !important } h1 { width: 700px }")
        assert one.page.evaluate(OVERLAPS)
        assert one.page.evaluate(CLIPPED)


def test_the_shift_page_can_be_pressed_with_a_glove(chromium: Any, site_folder: Path) -> None:
    """Targets of 44 px on a phone (WCAG 2.2, 2.5.5); links within a sentence are free, as there."""
    with opened(chromium, 390) as one:
        one.page.goto((site_folder / "shifts/2026-03-12-2.html").resolve().as_uri())
        assert one.page.evaluate(SMALL, [PRESSED, SENTENCES, TARGET_PX]) == []
