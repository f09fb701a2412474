"""What every figure has in common: axes that know their quantity, colours named by part, figures rounded.

A figure is a plain dictionary in the plotting library's own words with three additions that the page's script
turns into plain ones when it draws, because they depend on the reader's choice of units and of light or dark:
``axes`` (quantity and title of each axis), ``paint`` in a trace, shape or annotation (property -> colour name
of the style sheet) and ``tip`` in a trace (name shown when pointing at it).
"""

from __future__ import annotations

import math
from typing import Any

from dashboards.decimation import Floats
from pipeline.wording.kinds import KINDS

Figure = dict[str, Any]


def figures_of(values: Floats, digits: int) -> list[float | None]:
    """Figures for a drawing, rounded to `digits`; None where there is none, so that a line breaks there."""
    return [None if not math.isfinite(one) else one for one in values.round(digits).tolist()]


def axis(kind: str, title: str) -> dict[str, Any]:
    """An axis's quantity and its title without the unit; the script adds the unit the reader chose."""
    known = KINDS[kind]
    return {
        "kind": kind,
        "title": title,
        "us": [known.us.unit, known.us.factor, known.us.offset, known.us.decimals],
        "si": [known.si.unit, known.si.factor, known.si.offset, known.si.decimals],
    }


def kind_of_panel(panel: str, unit: str) -> str:
    """Kind of quantity of a panel of the run page."""
    if panel in {"wall", "eccentricity", "shape"} and unit == "mm":
        return "wall"
    by_unit = {
        "mm": "diameter",
        "m/s": "speed",
        "degC": "temperature",
        "bar": "pressure",
        "kV": "voltage",
        "rpm": "rotation",
        "%": "percent",
    }
    return by_unit.get(unit, "number")
