"""The charts page of a line: is the process steady, and what signalled?"""

from __future__ import annotations

from dashboards.figures.control_chart import control_chart_figure
from dashboards.records import LineCharts
from dashboards.rendering import write_page
from dashboards.site import Site, Written


def write_charts_page(record: LineCharts, site: Site) -> Written:
    """Writes the charts page of a line.

    Args:
        record: what it shows.
        site: where.
    """
    figures = [[control_chart_figure(chart) for chart in product.charts] for product in record.products]
    return write_page(site, "charts", record.line_id, "charts.html.j2", record, plots=True, figures=figures)
