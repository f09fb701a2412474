"""The page that lays a run over the product's earlier good runs, metre by metre."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from dashboards.figures.panels import COLOURS, domains
from dashboards.figures.sheet import Figure, axis, figures_of, kind_of_panel
from dashboards.fillers.process_values import PROCESS
from dashboards.fillers.rows import lot_rows, product_row, stamp_of
from dashboards.fillers.run_rows import is_trial_run
from dashboards.records import Plant
from dashboards.records.compare import ComparedChannel, RunCompared
from dashboards.rendering import write_page
from dashboards.run_pages import Planned
from dashboards.site import Site, WrittenFile
from pipeline.columns import CHANNEL_BY_NAME
from pipeline.tuning.line_run import MACHINE
from pipeline.tuning.run_profile import (
    DIAMETER,
    ECCENTRICITY,
    WALL,
    made_m,
    run_profile,
    spread_of,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from dashboards.fillers.run_book import RunBook

# Earlier runs laid under a run, the latest, and stretches drawn of the longest (chosen here).
MOST_OTHERS, STRETCHES = 6, 240
PANEL_PX = 130
OWN = {WALL: ("Mean wall", "mm"), ECCENTRICITY: ("Eccentricity", "mm"), DIAMETER: ("Diameter", "mm")}
SHORT = {
    "Nylon screw speed": "Nylon screw",
    "Screw speed": "Screw",
    "Melt temperature": "Melt temp.",
    "Melt pressure": "Pressure",
}
# How fine the channels are drawn, in the store's units.
_DIGITS = 5


def others_of(before: Sequence[RunBook]) -> tuple[tuple[RunBook, ...], bool]:
    """The runs that a run is laid over, the latest first, and whether they are good ones.

    Args:
        before: judged runs of the line and product before it, oldest first.
    """
    usable = [one for one in reversed(before) if one.thinned is None and not is_trial_run(one)]
    good = [
        one for one in usable if one.reels and all(reel["standing"] == "releasable" for reel in one.reels)
    ]
    return (tuple(good[:MOST_OTHERS]), True) if good else (tuple(usable[:1]), False)


def run_compared(plant: Plant, book: RunBook, others: Sequence[RunBook], are_good: bool) -> RunCompared:
    """Everything the page shows.

    Args:
        plant: the plant.
        book: the run.
        others: the runs it is laid over, the latest first; at least one.
        are_good: whether none of them had a held reel.
    """
    from pipeline.job.tuning_runs import tuning_run

    runs = [tuning_run(one.store, one.head) for one in (book, *others)]
    longest = max(made_m(run) for run in runs)
    own, *rest = (run_profile(run, max(longest / STRETCHES, 1.0)) for run in runs)
    channels = []
    for name in (*OWN, *MACHINE):
        if name not in own.overall:
            continue
        title, unit = OWN.get(name) or (PROCESS[name][0], CHANNEL_BY_NAME[name].unit)
        known = [one.overall[name] for one in rest if name in one.overall]
        low, high = (min(known), max(known)) if known else (None, None)
        channels.append(ComparedChannel(name, title, unit, own.overall[name], low, high))
    used = {row.lot_id for one in others for row in lot_rows(one)}
    return RunCompared(
        plant,
        book.run_id,
        book.head["line"],
        product_row(book).label,
        own,
        tuple(rest),
        are_good,
        tuple(channels),
        tuple(row for row in lot_rows(book) if row.lot_id not in used),
        stamp_of([book, *others]),
    )


def compared_figure(record: RunCompared) -> Figure:
    """A panel a channel: the run, and the band of the others behind it; each of the others can be shown alone."""
    spans, height = domains([PANEL_PX] * len(record.channels))
    figure: Figure = {
        "data": [],
        "layout": {
            "height": height + 60,
            "margin": {"l": 78, "r": 14, "t": 44, "b": 52},
            "xaxis": {"anchor": f"y{len(record.channels)}" if len(record.channels) > 1 else "y"},
            "legend": {"x": 0, "y": 1.0, "xanchor": "left", "yanchor": "bottom", "orientation": "h"},
        },
        "axes": {"x": axis("length", "Wire since the start of the run")},
    }
    for number, (one, span) in enumerate(zip(record.channels, spans, strict=True)):
        ref = f"y{number + 1}" if number else "y"
        kind = kind_of_panel("wall" if one.channel in (WALL, ECCENTRICITY) else "", one.unit)
        figure["axes"][ref] = axis(kind, SHORT.get(one.title, one.title))
        figure["layout"][f"yaxis{ref[1:]}"] = {"domain": list(span), "nticks": 4}
        figure["data"] += _panel(record, one, ref)
    return figure


def _panel(record: RunCompared, one: ComparedChannel, ref: str) -> list[dict[str, Any]]:
    having = tuple(other for other in record.others if one.channel in other.means)
    traces: list[dict[str, Any]] = []
    if len(having) > 1:
        low, high = spread_of(having, one.channel)
        edge = {"line": {"width": 0}, "hoverinfo": "skip", "legendgroup": "band"}
        traces.append(_line(record.own.step_m, low, ref, "", "--t3") | edge | {"showlegend": False})
        band = _line(record.own.step_m, high, ref, f"{len(record.others)} earlier runs", "--t3")
        traces.append(
            band | edge | {"fill": "tonexty", "paint": {"fillcolor": "--band"}, "showlegend": ref == "y"}
        )
    for k, other in enumerate(having):
        alone = _line(other.step_m, other.means[one.channel], ref, other.run_id, COLOURS[2 + k % 3])
        alone["visible"] = True if len(having) == 1 else "legendonly"
        traces.append(alone | {"legendgroup": other.run_id, "showlegend": ref == "y"})
    own = _line(record.own.step_m, record.own.means[one.channel], ref, record.run_id, COLOURS[0])
    return [*traces, own | {"legendgroup": record.run_id, "showlegend": ref == "y"}]


def _line(step_m: float, values: NDArray[np.float64], ref: str, name: str, colour: str) -> dict[str, Any]:
    at = np.asarray((np.arange(values.size) + 0.5) * step_m, dtype=np.float64)
    return {
        "type": "scatter",
        "mode": "lines",
        "x": figures_of(at, 1),
        "y": figures_of(values, _DIGITS),
        "yaxis": ref,
        "name": name,
        "tip": name,
        "connectgaps": False,
        "line": {"width": 1.3},
        "paint": {"line.color": colour},
    }


def write_compare_page(record: RunCompared, site: Site) -> WrittenFile:
    """Writes the page.

    Args:
        record: what it shows.
        site: where.
    """
    return write_page(
        site, "compare", record.run_id, "compare.html.j2", record, plots=True, figure=compared_figure(record)
    )


def compare_pages(plant: Plant, books: Sequence[RunBook]) -> list[Planned]:
    """One page a judged run that has an earlier run of its line and product to be laid over."""
    by_product: dict[tuple[str, str], list[RunBook]] = {}
    planned = []

    def write(
        book: RunBook, others: tuple[RunBook, ...], are_good: bool, site: Site
    ) -> Iterable[WrittenFile]:
        return (write_compare_page(run_compared(plant, book, others, are_good), site),)

    for book in books:
        if not book.is_judged or book.head["outcome"] != "judged":
            continue
        before = by_product.setdefault((book.head["line"], product_row(book).label), [])
        others, are_good = others_of(before)
        before.append(book)
        if others and book.thinned is None:
            written = partial(write, book, others, are_good)
            planned.append(
                Planned("compare", book.run_id, (book, *others), written, str(are_good), of_decisions=False)
            )
    return planned
