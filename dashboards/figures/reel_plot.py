"""A reel's readings along its wire as a figure of the plotting library, for whoever works in a notebook."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, TypeAlias

import plotly.graph_objects as go

from dashboards.figures.along import ABOUT
from pipeline.columns import MEASURED

if TYPE_CHECKING:
    from dashboards.decimation import Floats

ReelFigure: TypeAlias = go.Figure


def reel_plot(
    reel_id: str, quantity: str, at_m: Floats, values: Floats, limits: Sequence[Mapping[str, Any]]
) -> ReelFigure:
    """Readings of one quantity against the place on the reel, with its limits as dashed lines.

    Args:
        reel_id: the reel.
        quantity: a column of the data dictionary.
        at_m: places from the outer end [m].
        values: readings, in the column's unit.
        limits: rows of the question ``limits_of_assessment``.
    """
    column = next((one for one in MEASURED if one.name == quantity), None)
    title = f"{column.meaning.rstrip('.')} [{column.unit}]" if column else quantity
    figure: ReelFigure = go.Figure(go.Scattergl(x=at_m, y=values, mode="lines", name=quantity))
    about = ABOUT.get(quantity)
    for row in limits:
        is_about = about is not None and about in row["requirement"] and "covering" not in row["requirement"]
        if is_about and row["unit"] == "mm":
            figure.add_hline(
                row["value"], line_dash="dash", annotation_text=f"{row['requirement']} ({row['limit_id']})"
            )
    figure.update_layout(title=f"Reel {reel_id}", xaxis_title="From the outer end [m]", yaxis_title=title)
    return figure
