"""Draws the invented pages and takes pictures of them: ``python -m tests.dashboards.look FOLDER [page ...]``."""

import sys
from pathlib import Path

from playwright.sync_api import sync_playwright

from tests.dashboards.invented_site import write_site

FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


def main() -> None:
    folder = Path(sys.argv[1])
    pages = write_site(folder / "site")
    wanted = sys.argv[2:]
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path="/usr/bin/chromium", args=FLAGS)
        for width, scheme in ((1400, "light"), (1400, "dark"), (700, "light"), (700, "dark")):
            page = browser.new_page(viewport={"width": width, "height": 1000}, color_scheme=scheme)
            page.on(
                "console", lambda m: print("console:", m.text) if m.type in ("error", "warning") else None
            )
            page.on("pageerror", lambda e: print("error:", e))
            for one in pages:
                if wanted and not any(w in one for w in wanted):
                    continue
                page.goto((folder / "site" / one).resolve().as_uri())
                page.wait_for_timeout(700)
                page.screenshot(
                    path=folder / f"{one.replace('/', '_').removesuffix('.html')}-{width}-{scheme}.png",
                    full_page=True,
                )
        browser.close()


main()
