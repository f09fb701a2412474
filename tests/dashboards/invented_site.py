"""Writes every page of the invented plant into a folder."""

from pathlib import Path

from dashboards.pages.capability import write_capability_page
from dashboards.pages.centring import write_centring_page
from dashboards.pages.charts import write_charts_page
from dashboards.pages.compare import write_compare_page
from dashboards.pages.construction import write_construction_page
from dashboards.pages.containment import write_containment_page
from dashboards.pages.data_quality import write_data_quality_page
from dashboards.pages.faults import write_faults_page
from dashboards.pages.finding import write_finding_page
from dashboards.pages.guides import write_guide_pages
from dashboards.pages.index import write_index_page
from dashboards.pages.lot import write_lot_page
from dashboards.pages.morning import write_morning_page
from dashboards.pages.nonconformance import write_nonconformance_page
from dashboards.pages.overwall import write_overwall_page
from dashboards.pages.reel import write_reel_page
from dashboards.pages.run import write_run_page
from dashboards.pages.settings import write_settings_page
from dashboards.pages.shift import write_shift_page
from dashboards.pages.spectra import write_spectra_page
from dashboards.pages.tuning import write_tuning_page
from dashboards.site import Site, write_assets
from tests.dashboards import (
    invented,
    invented_charts,
    invented_lines,
    invented_more,
    invented_swings,
    invented_tuning,
)

PAGES = (
    "index.html",
    "shifts/2026-03-12-2.html",
    "mornings/2026-03-12.html",
    "runs/L1-0312-2.html",
    "reels/R-1043.html",
    "lots/PVC-2291.html",
    "nonconformance/index.html",
    "findings/F-0412.html",
    "capability/index.html",
    "faults/index.html",
    "centring/L1-0312-2.html",
    "spectra/L1-0312-2.html",
    "charts/L1.html",
    "overwall/index.html",
    "tuning/L1.html",
    "settings/L1.html",
    "compare/L1-0312-2.html",
    "data-quality/index.html",
    "constructions/14-THHN-AND-XHHW.html",
    "containments/C-2026-004.html",
    "guides/index.html",
    "guides/QUALITY.html",
)


def write_site(folder: Path, known: frozenset[str] | None = None) -> list[str]:
    site = Site(folder, known)
    write_assets(site)
    pages = [
        write_index_page(invented_more.index(), site)[0],
        write_shift_page(invented.shift(), site),
        write_morning_page(invented_more.morning(), site),
        write_run_page(invented.run(), site)[0],
        write_reel_page(invented_more.reel(), site),
        write_lot_page(invented_more.lot(), site),
        write_nonconformance_page(invented_more.nonconformance(), site)[0],
        write_finding_page(invented_lines.finding(), site),
        write_capability_page(invented_lines.capability(), site),
        write_faults_page(invented_lines.faults(), site),
        write_centring_page(invented_lines.centring(), site),
        write_spectra_page(invented_swings.spectra(), site),
        write_charts_page(invented_charts.charts(), site),
        write_overwall_page(invented_tuning.overwall(), site),
        write_tuning_page(invented_tuning.tuning(), site),
        write_settings_page(invented_swings.settings(), site),
        write_compare_page(invented_swings.compared(), site),
        write_data_quality_page(invented_lines.data_quality(), site),
        write_construction_page(invented_lines.construction(), site),
        write_containment_page(invented_lines.containment(), site),
        *write_guide_pages(invented_lines.guides(), site),
    ]
    return [one.address for one in pages]
