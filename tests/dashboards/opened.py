"""A page opened in the browser, with everything it said or asked for."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

# Draws the figures far below the window as well; in a mailed page the script comes after the page has loaded.
ALL_DRAWN = """() => {
  if (window.reelproofFigures) window.reelproofFigures.all();
  return !document.querySelector('.plot-area:not([data-drawn])');
}"""


class Opened:
    """A page and what came of opening it."""

    def __init__(self, page: Any) -> None:
        self.page = page
        self.said: list[str] = []
        self.asked: list[str] = []
        page.on("console", lambda m: self.said.append(m.text) if m.type in {"error", "warning"} else None)
        page.on("pageerror", lambda e: self.said.append(str(e)))
        page.on("request", lambda r: self.asked.append(r.url))

    def go(self, path: Path, fragment: str = "", pointed: bool = True) -> None:
        """Opens a page and waits for its figures; `pointed`, as a reader who points at the run's figure sees it."""
        self.page.goto(path.resolve().as_uri() + fragment)
        self.page.wait_for_function(ALL_DRAWN)
        if pointed and self.page.locator("#wire").count():
            self.page.hover("#wire")
            self.page.wait_for_selector("#wire[data-plotted]")


@contextmanager
def opened(browser: Any, width: int = 1400, scheme: str = "light") -> Iterator[Opened]:
    """A fresh page. The page's own policy forbids evaluated text, which the test's questions are: it is off here."""
    context = browser.new_context(
        viewport={"width": width, "height": 1000}, color_scheme=scheme, bypass_csp=True
    )
    try:
        yield Opened(context.new_page())
    finally:
        context.close()
