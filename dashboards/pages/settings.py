"""The page of a line's settings over its runs, with the wall that each run made beside them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from functools import partial
from typing import TYPE_CHECKING, Any

import polars as pl

from dashboards.figures.panels import COLOURS, GAP_PX, domains
from dashboards.figures.sheet import Figure, axis, kind_of_panel
from dashboards.fillers.process_values import PROCESS, SETTINGS, without_flagged
from dashboards.fillers.rows import lot_rows, product_row, stamp_of
from dashboards.fillers.run_book import aware
from dashboards.records import PageEntry, Plant
from dashboards.records.settings import RunSettings, SettingsHistory
from dashboards.rendering import write_page
from dashboards.run_pages import Planned
from dashboards.site import Site, WrittenFile
from pipeline.columns import CHANNEL_BY_NAME
from pipeline.length.steady_state import STEADY
from pipeline.store.readings import read_frame
from pipeline.tuning.line_run import MACHINE
from pipeline.tuning.setting_steps import LEAST_STEP

if TYPE_CHECKING:
    from dashboards.fillers.run_book import RunBook

# Runs shown, the newest, and those whose names fit below the figure (chosen here).
MOST_RUNS, MOST_NAMES = 60, 16
PANEL_PX = 120
# Least part of its level that an axis shows, so that a setting which was kept looks kept (chosen here).
LEAST_SPAN = 0.04
# Axis titles that a low panel has room for.
SHORT = {
    "Covering screw speed": "Cov. screw",
    "Nylon screw speed": "Nylon screw",
    "Screw speed": "Screw",
    "Melt temperature": "Melt temp.",
    "Melt pressure": "Pressure",
}


def settings_history(plant: Plant, line_id: str, books: Sequence[RunBook], earlier: int) -> SettingsHistory:
    """Everything the page of a line's settings shows.

    Args:
        plant: the plant.
        line_id: the line.
        books: its judged runs to be shown, oldest first.
        earlier: judged runs before them.
    """
    medians = [_medians(book) for book in books]
    names = [name for name in MACHINE if any(name in one for one in medians)]
    last: dict[str, dict[str, float]] = {}
    rows = []
    for book, found in zip(books, medians, strict=True):
        product = product_row(book).label
        before = last.get(product, {})
        rows.append(
            RunSettings(
                book.run_id,
                aware(book.head["started_utc"]),
                product,
                tuple(one for one in lot_rows(book) if one.material != "conductor"),
                tuple(found.get(name) for name in names),
                _mean_wall(book),
                min((one["thinnest_wall_mm"] for one in book.reels if one["thinnest_wall_mm"]), default=None),
                tuple(name in SETTINGS and _differs(found.get(name), before.get(name)) for name in names),
            )
        )
        last[product] = before | found
    channels = tuple((PROCESS[name][0], CHANNEL_BY_NAME[name].unit) for name in names)
    return SettingsHistory(plant, line_id, channels, tuple(rows), earlier, stamp_of(list(books)))


def _differs(now: float | None, before: float | None) -> bool:
    """Whether a setting is another than in the product's run before."""
    return now is not None and before is not None and abs(now - before) > LEAST_STEP * max(abs(before), 1e-12)


def _medians(book: RunBook) -> dict[str, float]:
    """Median of each channel at steady speed, without flagged readings; none of thinned ones, which are extremes."""
    if book.thinned is not None:
        return {}
    folder = book.head["load_folder"]
    logged = without_flagged(
        read_frame(book.store, folder, "logged", only={"row", *MACHINE}),
        read_frame(book.store, folder, "flagged"),
    )
    placed = read_frame(book.store, book.head["assessment_folder"], "placed", only={"row", "phase"})
    steady = logged.join(placed, on="row").filter(pl.col("phase") == STEADY)
    found = {name: steady[name].cast(pl.Float64).median() for name in MACHINE if name in steady.columns}
    return {name: float(one) for name, one in found.items() if isinstance(one, float) and math.isfinite(one)}


def _mean_wall(book: RunBook) -> float | None:
    known = [(one["mean_wall_mm"], one["length_m"]) for one in book.reels if one["mean_wall_mm"]]
    length = sum(one for _, one in known)
    return sum(wall * one for wall, one in known) / length if length > 0.0 else None


def settings_figure(record: SettingsHistory) -> Figure:
    """The wall of each run, and below it each setting; a colour a product."""
    panels: list[tuple[str, str, list[float | None]]] = [
        ("Mean wall", "mm", [one.mean_wall_mm for one in record.runs])
    ]
    panels += [
        (title, unit, [one.settings[number] for one in record.runs])
        for number, (title, unit) in enumerate(record.channels)
    ]
    spans, height = domains([PANEL_PX] * len(panels))
    products = list(dict.fromkeys(one.product for one in record.runs))
    names = [one.run_id for one in record.runs]
    few = len(names) <= MOST_NAMES
    figure: Figure = {
        "data": [],
        "layout": {
            "height": height + 4 * GAP_PX,
            "margin": {"l": 78, "r": 14, "t": 40, "b": 96 if few else 52},
            "xaxis": {
                "range": [0.4, len(names) + 0.6],
                "anchor": f"y{len(panels)}" if len(panels) > 1 else "y",
                **(
                    {"tickvals": list(range(1, len(names) + 1)), "ticktext": names, "tickangle": -60}
                    if few
                    else {}
                ),
            },
            "legend": {"x": 0, "y": 1.0, "xanchor": "left", "yanchor": "bottom", "orientation": "h"},
        },
        "axes": {} if few else {"x": axis("order", "Run")},
    }
    for number, ((title, unit, values), span) in enumerate(zip(panels, spans, strict=True)):
        ref = f"y{number + 1}" if number else "y"
        figure["axes"][ref] = axis(
            kind_of_panel("wall" if unit == "mm" else "", unit), SHORT.get(title, title)
        )
        figure["layout"][f"yaxis{ref[1:]}"] = {"domain": list(span), "nticks": 4, "range": _range(values)}
        for k, product in enumerate(products):
            figure["data"].append(_points(record, values, product, COLOURS[k % len(COLOURS)], ref))
    return figure


def _range(values: list[float | None]) -> list[float]:
    known = [one for one in values if one is not None]
    low, high = min(known, default=0.0), max(known, default=1.0)
    middle, half = 0.5 * (low + high), 0.6 * (high - low)
    half = max(half, 0.5 * LEAST_SPAN * abs(middle), 1e-6)
    return [middle - half, middle + half]


def _points(
    record: SettingsHistory, values: list[float | None], product: str, colour: str, ref: str
) -> dict[str, Any]:
    mine = [
        (number + 1.0, round(value, 5))
        for number, (one, value) in enumerate(zip(record.runs, values, strict=True))
        if one.product == product and value is not None
    ]
    return {
        "type": "scatter",
        "mode": "lines+markers",
        "x": [x for x, _ in mine],
        "y": [y for _, y in mine],
        "yaxis": ref,
        "name": product,
        "tip": product,
        "showlegend": ref == "y",
        "line": {"width": 1.0},
        "marker": {"size": 6},
        "paint": {"line.color": colour, "marker.color": colour},
    }


def write_settings_page(record: SettingsHistory, site: Site) -> WrittenFile:
    """Writes the page of a line's settings.

    Args:
        record: what it shows.
        site: where.
    """
    return write_page(
        site,
        "settings",
        record.line_id,
        "settings.html.j2",
        record,
        plots=True,
        figure=settings_figure(record),
    )


def settings_pages(plant: Plant, books: Sequence[RunBook]) -> list[Planned]:
    """One page a line: how its newest judged runs were set, and the wall they made."""
    by_line: dict[str, list[RunBook]] = {}
    for book in books:
        if book.is_judged and book.head["outcome"] == "judged":
            by_line.setdefault(book.head["line"], []).append(book)

    def write(line: str, group: tuple[RunBook, ...], earlier: int, site: Site) -> Iterable[WrittenFile]:
        return (write_settings_page(settings_history(plant, line, group, earlier), site),)

    planned = []
    for line, group in sorted(by_line.items()):
        newest, earlier = tuple(group[-MOST_RUNS:]), max(len(group) - MOST_RUNS, 0)
        written = partial(write, line, newest, earlier)
        planned.append(Planned("settings", line, newest, written, str(earlier), of_decisions=False))
    return planned


def settings_entries(plant: Plant, books: Sequence[RunBook]) -> list[PageEntry]:
    """What the index says of these pages."""
    asked = "How was each run set, and what wall did it make?"
    return [
        PageEntry(one.address, f"Settings of {one.record_id}", asked) for one in settings_pages(plant, books)
    ]
