"""The pages of one shift of every line: the shift's page, and each run's."""

from __future__ import annotations

from pathlib import Path

from dashboards.fillers.plant import plant_of
from dashboards.fillers.run_book import run_books
from dashboards.fillers.shift import shifts_of
from dashboards.page_planning import _shift_pages
from dashboards.page_writing import write_pages, write_planned
from dashboards.run_pages import pages_of_run
from dashboards.site import Site, write_assets
from pipeline.store.database import open_to_read
from tests.benchmarks.many_runs import store_of
from tests.benchmarks.own_process import cost_of
from tests.benchmarks.row import Row
from tests.benchmarks.scale import Scale

_HOURS = 8.0
_FEW = 2


def shift_and_runs(store: str, out: str) -> int:
    """Write the page of the newest shift and of each of its runs; how many."""
    with open_to_read(Path(store)) as opened:
        books = run_books(opened)
        plant = plant_of(opened, books)
        shift_id, group = shifts_of(books)[-1]
        planned = _shift_pages(plant, [(shift_id, group)])
        planned += [page for book in group for page in pages_of_run(plant, book) if page.kind == "run"]
        site = Site(Path(out), frozenset(one.address for one in planned))
        write_assets(site)
        return sum(1 for _ in write_planned(planned, opened, plant, site))


def everything(store: str, out: str) -> int:
    """Write every page of everything on file; how many."""
    with open_to_read(Path(store)) as opened:
        return write_pages(opened, Path(out), lambda _what, _more: None)[1]


def run(scale: Scale) -> list[Row]:
    hours = min(_HOURS, scale.hours)
    store = store_of(scale.fresh("shift"), scale.data, scale.page_lines, scale.page_lines, hours)
    ours = cost_of("shift_pages:shift_and_runs", store, scale.fresh("site"))
    # Every page, tuning among them, is written once and then hardly ever again: a few lines show what that costs.
    few = store_of(scale.fresh("shift_of_few"), scale.data, _FEW, _FEW, hours)
    whole = cost_of("shift_pages:everything", few, scale.fresh("site"))
    again = cost_of("shift_pages:everything", few, scale.scratch / "site")
    words = f"{scale.page_lines} lines, {hours:g} h each"
    return [
        Row(
            f"pages of a shift: the shift's and {ours.answer - 1} runs', {words}",
            "< 3 s for 20 lines",
            f"{ours.wall_s:.1f} s",
            ours.wall_s < 3.0,
            ours.wall_s,
            ours.cpu_s,
            ours.peak_mb,
            note="Pages of runs are written by as many processes as there are cores and memory for.",
        ),
        Row(
            f"every page of {_FEW} such lines, {whole.answer:,} pages",
            "",
            f"{whole.wall_s:.1f} s",
            None,
            whole.wall_s,
            whole.cpu_s,
            whole.peak_mb,
        ),
        Row(
            f"the same again, {again.answer} changed",
            "",
            f"{again.wall_s:.1f} s",
            None,
            again.wall_s,
            again.cpu_s,
            again.peak_mb,
        ),
    ]
