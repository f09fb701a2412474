"""Process values: up to three channels one above the other; the page's script draws those that the reader chose."""

from __future__ import annotations

from datetime import timedelta
from typing import Any
from zoneinfo import ZoneInfo

from dashboards.figures.panels import BOTTOM_PX, GAP_PX, TOP_PX
from dashboards.figures.sheet import Figure, axis, kind_of_panel
from dashboards.records import ProcessValues
from dashboards.tiles import PLACE_STEP_M, block_script, step_of

PANEL_PX, MOST_PANELS = 170, 3
BLOCK = "process"
TIME_STEP_S = 0.1


def process_figure() -> Figure:
    """The figure before anything is chosen."""
    return {
        "data": [],
        "layout": {
            "height": PANEL_PX + TOP_PX + BOTTOM_PX,
            "margin": {"l": 78, "r": 14, "t": TOP_PX, "b": BOTTOM_PX},
            "xaxis": {"range": [0, 1]},
        },
        "axes": {"x": axis("place", "Position on the wire")},
    }


def process_plan(process: ProcessValues, zone: str) -> dict[str, Any]:
    """What the script must know: each channel's axis, the marks, the clock, and how panels are laid out.

    The clock keeps the offset of the run's start, so that it also rises through a change to or from summer time.

    Args:
        process: the process values.
        zone: zone of the plant's clocks.
    """
    start = process.start.astimezone(ZoneInfo(zone))
    offset = start.utcoffset() or timedelta()
    return {
        "block": BLOCK,
        "channels": [axis(kind_of_panel("", one.unit), one.title) for one in process.channels],
        "marks": [{"text": one.what, "m": one.at_m, "s": one.at_s} for one in process.changes],
        "start": round((process.start + offset).timestamp() * 1000.0),
        "clock": f"Time of day, UTC{start.isoformat()[-6:]}",
        "panel": PANEL_PX,
        "gap": GAP_PX,
        "most": MOST_PANELS,
    }


def process_block(process: ProcessValues) -> bytes:
    """The script file with the readings: place, time and value of each channel, one after the other."""
    columns = []
    for one in process.channels:
        columns += [(one.at_m, PLACE_STEP_M), (one.at_s, TIME_STEP_S), (one.values, step_of(one.unit))]
    return block_script(BLOCK, columns)
