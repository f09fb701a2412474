"""Every template, by its code; a code with several takes the first whose arguments are all there."""

from __future__ import annotations

from collections.abc import Mapping

from pipeline.wording.assumptions import ASSUMPTIONS
from pipeline.wording.contradictions import CONTRADICTIONS
from pipeline.wording.findings import FINDINGS
from pipeline.wording.headings import CHARTED, FAMILIES, HEADINGS
from pipeline.wording.methods import METHOD_NAMES
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
}
_WRITTEN = {"as written": ("{text}",)}
TEMPLATES: Mapping[str, tuple[str, ...]] = {
    **_WRITTEN,
    **HEADINGS,
    **CHARTED,
    **FAMILIES,
    **METHOD_NAMES,
    **REFUSALS,
    **NOTES,
    **ASSUMPTIONS,
    **CONTRADICTIONS,
    **FINDINGS,
    **REELS,
    **WARNED,
}
