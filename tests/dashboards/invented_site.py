"""Writes every page of the invented plant into a folder."""

from pathlib import Path

from dashboards.pages.index import write_index_page
from dashboards.pages.lot import write_lot_page
from dashboards.pages.nonconformance import write_nonconformance_page
from dashboards.pages.reel import write_reel_page
from dashboards.pages.run import write_run_page
from dashboards.pages.shift import write_shift_page
from dashboards.site import Site, write_assets
from tests.dashboards import invented, invented_more

PAGES = (
    "index.html",
    "shifts/2026-03-12-2.html",
    "runs/L1-0312-2.html",
    "reels/R-1043.html",
    "lots/PVC-2291.html",
    "nonconformance/index.html",
)


def write_site(folder: Path, known: frozenset[str] | None = None) -> list[str]:
    site = Site(folder, known)
    write_assets(site)
    pages = [
        write_index_page(invented_more.index(), site)[0],
        write_shift_page(invented.shift(), site),
        write_run_page(invented.run(), site)[0],
        write_reel_page(invented_more.reel(), site),
        write_lot_page(invented_more.lot(), site),
        write_nonconformance_page(invented_more.nonconformance(), site)[0],
    ]
    return [one.address for one in pages]
