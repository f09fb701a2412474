"""A run page of seven channels in a browser: until its picture is seen, its first zoom, and the page's own work.

Wall times are a reader's, and a busy machine spoils them; the page's own processor time stands beside them.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from dashboards.pages.run import write_run_page
from dashboards.records import Trace
from dashboards.site import Site, write_assets
from tests.benchmarks.own_process import cost_of
from tests.benchmarks.row import Row
from tests.benchmarks.scale import Scale
from tests.conftest import QUIET, chromium_on_path
from tests.dashboards.invented import run as invented_run

CHANNELS = 7
WANTED_S = 1.0
# Told to the page before it runs: when the picture stands on the screen, and how long the script worked until then.
WATCH = """
(() => {
  const seen = new MutationObserver(() => {
    if (!document.querySelector('#wire svg.picture, #wire .main-svg')) return;
    seen.disconnect();
    requestAnimationFrame(() => setTimeout(() => { window.benchSeen = performance.now(); }, 0));
  });
  seen.observe(document, { childList: true, subtree: true });
})();
"""
ZOOM = """() => new Promise(go => {
  const div = document.getElementById('wire'), began = performance.now(), before = div.getAttribute('data-view');
  const drawn = new MutationObserver(() => {
    if (div.getAttribute('data-view') === before) return;
    drawn.disconnect();
    requestAnimationFrame(() => setTimeout(() => go(performance.now() - began), 0));
  });
  drawn.observe(div, { attributes: true });
  document.querySelector('[data-zoom="in"]').click();
})"""


def write(folder: str, readings: int) -> int:
    """The page of a run of `readings` readings for each of seven channels; its size [bytes]."""
    base = invented_run(readings)
    wall = next(one for one in base.traces if one.name == "mean_wall_mm")
    noise = np.random.default_rng(11)
    more = [
        Trace(
            "ovality_mm",
            "Ovality",
            "mm",
            "eccentricity",
            wall.at_m,
            np.abs(noise.normal(0.01, 0.004, wall.at_m.size)),
        ),
        Trace(
            "concentricity_pct",
            "Concentricity",
            "%",
            "shape",
            wall.at_m,
            noise.normal(90.0, 1.0, wall.at_m.size),
        ),
    ]
    record = replace(base, traces=(*base.traces, *more))
    site = Site(Path(folder), None)
    write_assets(site)
    page = write_run_page(record, site)[0]
    return (Path(folder) / page.address).stat().st_size


def opened(folder: str, repeats: int) -> dict[str, float]:
    """Times of the quickest of several openings, each in a browser without anything kept [s]."""
    with ThreadPoolExecutor(1) as apart:  # the browser's driver wants a thread without a loop of its own
        return apart.submit(_opened, folder, repeats).result()


def _opened(folder: str, repeats: int) -> dict[str, float]:
    from playwright.sync_api import sync_playwright

    page_file = next(Path(folder).glob("runs/*.html"))
    found: list[dict[str, float]] = []
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=chromium_on_path(), args=QUIET)
        for _ in range(repeats):
            context = browser.new_context(viewport={"width": 1400, "height": 1000}, bypass_csp=True)
            page = context.new_page()
            page.add_init_script(WATCH)
            costs = context.new_cdp_session(page)
            costs.send("Performance.enable")
            page.goto(page_file.resolve().as_uri(), wait_until="commit")
            page.wait_for_function("window.benchSeen")
            seen_cpu = _work_s(costs)
            seen = page.evaluate("window.benchSeen") / 1e3
            zoom = page.evaluate(ZOOM) / 1e3
            zoom_cpu = _work_s(costs) - seen_cpu
            page.hover("#wire")
            page.wait_for_selector("#wire[data-plotted]")
            later = page.evaluate(ZOOM) / 1e3
            found.append(
                {"seen": seen, "seen_cpu": seen_cpu, "zoom": zoom, "zoom_cpu": zoom_cpu, "later": later}
            )
            context.close()
        browser.close()
    return {name: min(one[name] for one in found) for name in found[0]}


def _work_s(costs: Any) -> float:
    """Time the page's main thread has worked so far [s]."""
    told = costs.send("Performance.getMetrics")["metrics"]
    return float(next(one["value"] for one in told if one["name"] == "TaskDuration"))


def run(scale: Scale) -> list[Row]:
    readings = scale.run_page_readings
    folder = scale.fresh("run-page")
    made = cost_of("run_page:write", folder, readings)
    words = f"{CHANNELS} channels of {readings:,} readings"
    size = Row(
        f"run page, {words}: its size",
        "< 1 MB",
        f"{made.answer / 1e6:.2f} MB",
        made.answer < 1e6,
        made.wall_s,
        made.cpu_s,
        made.peak_mb,
    )
    if chromium_on_path() is None:
        return [size, Row(f"run page, {words}: opened", "< 1 s", "no chromium on this machine")]
    took = cost_of("run_page:opened", folder, scale.repeats).answer
    return [
        size,
        *(
            Row(
                f"run page, {words}: {what}",
                "< 1 s",
                f"{took[name]:.2f} s",
                took[name] < WANTED_S,
                took[name],
                took.get(cpu),
            )
            for what, name, cpu in (
                ("until its picture is seen", "seen", "seen_cpu"),
                ("its first zoom, at once", "zoom", "zoom_cpu"),
                ("a zoom with the plotting script there", "later", ""),
            )
        ),
    ]
