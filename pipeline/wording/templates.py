"""Every template, by its code; a code with several takes the first whose arguments are all there."""

from __future__ import annotations

import json
from collections.abc import Mapping
from importlib.resources import files

from pipeline.wording.contradictions import CONTRADICTIONS
from pipeline.wording.findings import FINDINGS
from pipeline.wording.headings import CHARTED, FAMILIES, HEADINGS
from pipeline.wording.notes import NOTES
from pipeline.wording.reels import REELS
from pipeline.wording.refusals import REFUSALS
from pipeline.wording.warned import WARNED

# What a reader calls a channel.
CHANNELS: Mapping[str, str] = {
    "mean_wall_mm": "mean wall",
    "thinnest_wall_mm": "thinnest wall",
    "wall_sd_mm": "wall spread",
    "eccentricity_mm": "eccentricity",
    "concentricity_pct": "concentricity",
    "diameter_mm": "diameter",
    "ovality_mm": "ovality",
    "conductor_mm": "conductor diameter",
    "hot_diameter_mm": "hot diameter",
    "diameter_x_mm": "diameter, first axis",
    "diameter_y_mm": "diameter, second axis",
    "line_speed_m_s": "line speed",
    "screw_speed_rpm": "screw speed",
    "covering_screw_speed_rpm": "screw speed of the covering",
    "melt_temperature_c": "melt temperature",
    "melt_pressure_bar": "melt pressure",
    "stood_s": "time stood before",
    "ramp_s": "time to steady speed",
}


def _english(name: str) -> dict[str, tuple[str, ...]]:
    """The templates of one file; a code with one template has it bare."""
    text = files("pipeline.wording").joinpath("english", f"{name}.json").read_text(encoding="utf-8")
    return {code: (one,) if isinstance(one, str) else tuple(one) for code, one in json.loads(text).items()}


_WRITTEN = {"as written": ("{text}",)}
TEMPLATES: Mapping[str, tuple[str, ...]] = {
    **_WRITTEN,
    **HEADINGS,
    **CHARTED,
    **FAMILIES,
    **_english("methods"),
    **REFUSALS,
    **NOTES,
    **_english("assumptions"),
    **CONTRADICTIONS,
    **FINDINGS,
    **REELS,
    **WARNED,
    **_english("tuned"),
    **_english("logs"),
    **_english("pages"),
    # Codes that judgements on file still have and none is given any more.
    **_english("earlier"),
}
