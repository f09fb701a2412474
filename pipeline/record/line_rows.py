"""Charts of a line as rows of the store: the chart, its points with their reels, and its signals."""

from __future__ import annotations

import math
from typing import Any

from pipeline.messages import said_json
from pipeline.steps.chart_maker import ChartOf
from pipeline.steps.charted import ChartFamily
from pipeline.steps.line_charts import LineCharts
from pipeline.store.answer_columns import assumptions_json, details_json, warnings_json

Rows = list[dict[str, Any]]


def chart_rows(charts: LineCharts) -> tuple[Rows, Rows, Rows]:
    """Rows of judged.control_chart, judged.line_point and judged.line_signal, without the number of the look."""
    heads: Rows = []
    points: Rows = []
    signals: Rows = []
    for number, one in enumerate(charts.charts):
        heads.append({**_head(number, one), "budget": "", "said": said_json(charts.budget)})
        points += _points(number, one)
        signals += _signals(one)
    return heads, points, signals


def _finite(figure: float) -> float | None:
    return float(figure) if math.isfinite(figure) else None


def _head(number: int, one: ChartOf) -> dict[str, Any]:
    chart = one.chart
    return {
        "chart_no": number,
        "charted": str(one.charted),
        "family": str(one.family),
        "value": one.quantity,
        "method": said_json(chart.method),
        "phase": chart.phase,
        "unit": chart.unit,
        "arl0": chart.arl0,
        "unit_of_inference": chart.unit_of_inference,
        "assumptions": assumptions_json(chart.assumptions),
        "warnings": warnings_json(chart.warnings),
        "details": details_json(chart.details),
    }


def _points(number: int, one: ChartOf) -> Rows:
    chart = one.chart
    signals = {signal.item: signal for signal in chart.signals}
    return [
        {
            "chart_no": number,
            "item": item,
            "run_id": reel.run_id,
            "reel_id": reel.reel_id,
            "at_m": reel.places.get(one.quantity) if one.family is ChartFamily.INDIVIDUALS else None,
            "value": _finite(chart.plotted[item]),
            "centre": float(chart.centre[item]),
            "lower_limit": _finite(chart.lower[item]),
            "upper_limit": _finite(chart.upper[item]),
            "rule": "",
            "said": said_json(signals[item].rule) if item in signals else None,
            "since_item": signals[item].since if item in signals else None,
        }
        for item, reel in enumerate(one.reels)
    ]


def _signals(one: ChartOf) -> Rows:
    chart = one.chart
    return [
        {
            "quantity": one.quantity,
            "chart": str(one.family),
            "phase": chart.phase,
            "reel_id": one.reels[signal.item].reel_id,
            "run_id": one.reels[signal.item].run_id,
            "value": signal.value,
            "limit_value": signal.limit,
            "side": signal.side,
            "rule": "",
            "said": said_json(signal.rule),
            "since_reel_id": one.reels[signal.since].reel_id,
        }
        for signal in chart.signals
    ]
