"""Pages look as they did when somebody last looked at them: pictures of the invented pages against kept ones.

A kept picture is the page's at an eighth of its size, so that a letter's edge does not matter while a missing
panel, a colour or a shift does. Tolerances: height within 2 %; at most 0.5 % of the small picture's points may
differ by more than 48 of 255 in any channel. Another machine has other fonts: the test is skipped where the
fonts of the kept pictures are not there, and fails there instead with REELPROOF_SKIP_NOTHING, as CI sets
it. ``KEEP_PICTURES=1`` keeps new ones, to be looked at before a commit.
"""

import base64
import os
import subprocess
from pathlib import Path
from typing import Any

import pytest

from tests.dashboards.opened import opened

pytestmark = pytest.mark.browser
KEPT = Path(__file__).parent / "pictures"
PAGES = {
    "shift": "shifts/2026-03-12-2.html",
    "run": "runs/L1-0312-2.html",
    "reel": "reels/R-1043.html",
    "finding": "findings/F-0412.html",
    "capability": "capability/index.html",
}
FONTS = ("DejaVu Sans", "Liberation Serif")

SHRINK = """async png => {
  const image = new Image(); image.src = 'data:image/png;base64,' + png; await image.decode();
  const canvas = document.createElement('canvas');
  canvas.width = Math.floor(image.width / 8); canvas.height = Math.floor(image.height / 8);
  const ink = canvas.getContext('2d'); ink.imageSmoothingQuality = 'high';
  ink.drawImage(image, 0, 0, canvas.width, canvas.height);
  return canvas.toDataURL('image/png').split(',')[1];
}"""
DIFFER = """async ([one, other]) => {
  const read = async png => {
    const image = new Image(); image.src = 'data:image/png;base64,' + png; await image.decode();
    const canvas = document.createElement('canvas'); canvas.width = image.width; canvas.height = image.height;
    const ink = canvas.getContext('2d'); ink.drawImage(image, 0, 0);
    return ink.getImageData(0, 0, image.width, image.height);
  };
  const a = await read(one), b = await read(other);
  const rows = Math.min(a.height, b.height), width = Math.min(a.width, b.width);
  let off = 0;
  for (let y = 0; y < rows; y += 1) for (let x = 0; x < width; x += 1) {
    const i = 4 * (y * a.width + x), k = 4 * (y * b.width + x);
    if ([0, 1, 2].some(c => Math.abs(a.data[i + c] - b.data[k + c]) > 48)) off += 1;
  }
  return { share: off / (rows * width), heights: [a.height, b.height], widths: [a.width, b.width] };
}"""


def fonts_there() -> bool:
    try:
        listed = subprocess.run(["fc-list", ":", "family"], capture_output=True, text=True, check=True).stdout
    except (OSError, subprocess.CalledProcessError):
        return False
    return all(font in listed for font in FONTS)


def picture(page: Any) -> str:
    shot = base64.b64encode(page.screenshot(full_page=True, animations="disabled")).decode("ascii")
    return page.evaluate(SHRINK, shot)


@pytest.mark.parametrize("name", PAGES)
def test_a_page_looks_as_it_did(chromium: Any, site_folder: Path, name: str) -> None:
    if not fonts_there():
        pytest.skip(f"the kept pictures need the fonts {', '.join(FONTS)}")
    with opened(chromium, 1400, "light") as one:
        one.go(site_folder / PAGES[name])
        one.page.wait_for_timeout(200)
        now = picture(one.page)
        kept = KEPT / f"{name}.png"
        if os.environ.get("KEEP_PICTURES"):
            KEPT.mkdir(exist_ok=True)
            kept.write_bytes(base64.b64decode(now))
        before = base64.b64encode(kept.read_bytes()).decode("ascii")
        found = one.page.evaluate(DIFFER, [now, before])
    assert found["widths"][0] == found["widths"][1]
    assert abs(found["heights"][0] / found["heights"][1] - 1) <= 0.02
    assert found["share"] <= 0.005


def test_the_comparison_sees_a_figure_that_is_not_drawn(chromium: Any, site_folder: Path) -> None:
    with opened(chromium, 1400, "light") as one:
        one.go(site_folder / PAGES["finding"])
        before = picture(one.page)
        one.page.add_style_tag(content=".plot-area, .section { visibility: hidden }")
        assert one.page.evaluate(DIFFER, [picture(one.page), before])["share"] > 0.01
