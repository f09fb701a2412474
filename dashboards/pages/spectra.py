"""The page of a run's swings: which periods wall and diameter swing with, and what on the line turns with them."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from dashboards.figures.sheet import Figure, axis, figures_of
from dashboards.fillers.process_values import process_values
from dashboards.fillers.rows import product_row, stamp_of
from dashboards.records import Plant
from dashboards.records.spectra import BesideChange, SpectraReview, TurningRow
from dashboards.rendering import write_page
from dashboards.site import Site, WrittenFile
from pipeline.job.tuning_runs import line_sheet_of, tuning_run
from pipeline.messages import message
from pipeline.reasons import Reason
from pipeline.steps.announced import MIXED_M
from pipeline.store.readings import run_thinned
from pipeline.tuning.swing_spectra import (
    CHANNELS,
    RunSpectra,
    SwingsAlong,
    SwingSpectrum,
    amplitude_at,
    before_and_after,
    run_spectra,
)

if TYPE_CHECKING:
    from dashboards.fillers.run_book import RunBook
    from pipeline.sheets.line_sheet import LineSheet
    from pipeline.tuning.line_run import LineRun

# Changes drawn (chosen here: one opens, two more are in reach).
MOST_CHANGES = 3
HEIGHT_PX = 320
COLOURS = dict(zip(CHANNELS, ("--t2", "--t1"), strict=True))


def spectra_review(plant: Plant, book: RunBook) -> SpectraReview:
    """Everything the page of a judged run's swings shows."""
    head = (plant, book.run_id, book.head["line"], product_row(book).label)
    if book.thinned is not None:
        return SpectraReview(*head, None, refused=run_thinned(book.thinned), stamp=stamp_of([book]))
    run, line = tuning_run(book.store, book.head), line_sheet_of(book.store, book.head)
    found = run_spectra(run, line)
    if not found.in_length:
        none = message(Reason.NO_STEADY_WIRE_READ)
        return SpectraReview(*head, None, refused=none, stamp=stamp_of([book]))
    changes, left = _changes(book, run, line)
    return SpectraReview(*head, found, _turning(found), changes, left, stamp=stamp_of([book]))


def _changes(book: RunBook, run: LineRun, line: LineSheet) -> tuple[tuple[BesideChange, ...], int]:
    """Spectra beside the first changes that have wire enough on both sides, and how many changes are left."""
    process = process_values(book)
    named: dict[float, list[str]] = {}
    for one in () if process is None else process.changes:
        named.setdefault(one.at_m, []).append(one.what)
    found = before_and_after(run, sorted(named), line.purge_m or MIXED_M)
    changes = [BesideChange(", ".join(dict.fromkeys(named[at])), at, *both) for at, *both in found]
    # A bolt moves the center and seldom what swings.
    changes.sort(key=lambda one: one.what.startswith("bolt"))
    shown = tuple(sorted(changes[:MOST_CHANGES], key=lambda one: one.at_m))
    return shown, len(named) - len(shown)


def _turning(found: RunSpectra) -> tuple[TurningRow, ...]:
    by_channel = {one.channel: one for one in found.in_length}

    def amplitude(channel: str, period_m: float) -> float | None:
        spectrum = by_channel.get(channel)
        size = math.nan if spectrum is None else amplitude_at(spectrum, period_m)
        return size if math.isfinite(size) else None

    rows = [
        TurningRow(
            one.element,
            one.harmonic,
            one.seen_period_m,
            one.seen_period_m / found.speed_m_s,
            one.aliased,
            *(amplitude(channel, one.seen_period_m) for channel in CHANNELS),
        )
        for one in found.marks
        if math.isfinite(one.seen_period_m)
    ]
    return tuple(sorted(rows, key=lambda one: one.harmonic))


def _drawn(one: SwingSpectrum, name: str, colour: str, dash: str = "solid") -> dict[str, Any]:
    return {
        "type": "scatter",
        "mode": "lines",
        "x": figures_of(one.period, 4),
        "y": figures_of(one.amplitude_um, 3),
        "name": name,
        "tip": name,
        "line": {"width": 1.4, "dash": dash},
        "paint": {"line.color": colour},
    }


def _figure(data: list[dict[str, Any]], x: dict[str, Any]) -> Figure:
    return {
        "data": data,
        "layout": {
            "height": HEIGHT_PX,
            "margin": {"l": 64, "r": 14, "t": 30, "b": 52},
            "xaxis": {"type": "log", "dtick": "D2"},
            "yaxis": {"type": "log", "dtick": "D2"},
            "legend": {"x": 0, "y": 1.0, "xanchor": "left", "yanchor": "bottom", "orientation": "h"},
            "shapes": [],
        },
        "axes": {"x": x, "y": axis("swing", "Amplitude")},
    }


def spectrum_figure(found: RunSpectra, in_time: bool) -> Figure:
    """Amplitude against period, with what turns: dotted lines, the element's name at its own turn.

    Args:
        found: the run's spectra.
        in_time: whether over time instead of length.
    """
    spectra = found.in_time if in_time else found.in_length
    data = [_drawn(one, one.channel, COLOURS[one.channel]) for one in spectra]
    x = axis("number", "Period in time, s") if in_time else axis("turn", "Period along the wire")
    figure = _figure(data, x)
    low, high = (
        (float(pick([pick(one.period) for one in spectra])) for pick in (min, max)) if spectra else (1, 1)
    )
    top = max((float(one.amplitude_um.max()) for one in spectra), default=1.0)
    names: list[tuple[float, str]] = []
    for one in found.marks:
        at = one.seen_period_m / found.speed_m_s if in_time else one.seen_period_m
        if not low <= at <= high:
            continue
        figure["layout"]["shapes"].append(
            {
                "type": "line",
                "xref": "x",
                "x0": at,
                "x1": at,
                "yref": "paper",
                "y0": 0,
                "y1": 1,
                "line": {"width": 1.3 if one.harmonic == 1 else 0.8, "dash": "dot"},
                "paint": {"line.color": "--muted" if one.harmonic == 1 else "--line-strong"},
            }
        )
        if one.harmonic == 1:
            names.append((at, f"{one.element} (alias)" if one.aliased else one.element))
    if names:
        names.sort()
        data.append(
            {
                "type": "scatter",
                "mode": "text",
                "x": [round(at, 4) for at, _ in names],
                # Names of neighbours stand on steps below each other.
                "y": [round(top * 0.7 ** (number % 4), 3) for number in range(len(names))],
                "text": [name for _, name in names],
                "tips": [f"one turn of {name}" for _, name in names],
                "textposition": "middle right",
                "textfont": {"size": 11.5},
                "showlegend": False,
                "paint": {"textfont.color": "--ink"},
            }
        )
    return figure


def change_figure(change: BesideChange) -> Figure:
    """The wall's spectra before a change, dashed, and after it."""
    data = [
        _drawn(change.before, "before", "--muted", "dash"),
        _drawn(change.after, "after", COLOURS[CHANNELS[0]]),
    ]
    return _figure(data, axis("turn", "Period along the wire"))


def map_figure(along: SwingsAlong) -> Figure:
    """The wall's swings as the run went on: position against period in time, the stronger the brighter."""
    known = along.amplitude_um[np.isfinite(along.amplitude_um)]
    figure = _figure(
        [
            {
                "type": "heatmap",
                "x": figures_of(along.at_m, 1),
                "y": figures_of(along.period_s, 3),
                "z": [figures_of(row, 2) for row in along.amplitude_um],
                # Readings of one column in a hundred may be beyond the scale: a start or a splice hides nothing else.
                "zmin": 0.0,
                "zmax": round(float(np.quantile(known, 0.99)), 3),
                "colorscale": "Cividis",
                "showscale": False,
                "tip": "swing of the mean wall",
            }
        ],
        axis("place", "Position on the wire"),
    )
    figure["axes"]["y"] = axis("number", "Period in time, s")
    figure["layout"]["xaxis"], figure["layout"]["yaxis"] = {}, {"type": "log", "dtick": "D2"}
    return figure


def write_spectra_page(record: SpectraReview, site: Site) -> WrittenFile:
    """Writes the page of a run's swings.

    Args:
        record: what it shows.
        site: where.
    """
    found = record.spectra
    along = None if found is None else found.along
    return write_page(
        site,
        "spectra",
        record.run_id,
        "spectra.html.j2",
        record,
        plots=found is not None,
        in_length=None if found is None else spectrum_figure(found, in_time=False),
        in_time=None if found is None else spectrum_figure(found, in_time=True),
        along=None if along is None else map_figure(along),
        strongest_um=0.0 if along is None else float(map_figure(along)["data"][0]["zmax"]),
        beside=[change_figure(one) for one in record.changes],
    )
